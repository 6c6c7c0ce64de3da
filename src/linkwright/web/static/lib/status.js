// The status line: one thing at a time, the first of what matters, always in sight, and nothing moves for it.
import { lost, post, tell, waiting } from "./net.js";

const line = document.getElementById("status");
let broken = "", silent = "", said = null, saved = null, refused = "", works = {}, seenFault = new Set();
const clock = (at) => at.toTimeString().slice(0, 5);

// Something was done: told until something else is; `change` is the revision that can be taken back, `back` where, if not of the job.
export function say(text, change = null, back = "") {
  said = text ? { text: [].concat(text).join(" "), change, back } : null;
  draw();
}

function first() {
  if (broken) return { text: broken, act: location.pathname === "/live" ? "" : "look", words: "Look" };
  if (lost()) return { text: `The laptop cannot be reached since ${clock(lost())}; ${count(waiting().length)}.` };
  const fault = Object.values(works).find((work) => work.fault && !seenFault.has(work.fault + work.began_anew));
  if (fault && fault.began_anew) return { text: `${fault.fault} It began anew by itself at ${clock(new Date(fault.began_anew))}.`, act: "seen", words: "Seen", fault };
  if (fault) return { text: fault.fault, act: "again", words: "Try again", name: fault.name };
  if (refused) return { text: refused, act: "heard", words: "Seen" };
  if (silent) return { text: silent };
  if (said) return { text: said.text, act: said.change ? "back" : "", words: "Take back", change: said.change, back: said.back };
  const busy = Object.values(works).find((work) => work.busy && work.share > 0 && !["looking", "judging", "mqtt", "osc", "playing"].includes(work.name));
  if (busy) return { text: `${busy.what}, ${Math.round(100 * busy.share)} %`, act: "stop", words: "Stop", name: busy.name };
  if (waiting().length) return { text: count(waiting().length) };
  return { text: saved ? `Saved ${clock(saved)}.` : "" };
}
const count = (many) => (many === 1 ? "one change waits" : many ? `${many} changes wait` : "what you change waits until it can");

function draw() {
  if (!line) return;
  const now = first(), words = line.querySelector(".says"), button = line.querySelector("button");
  if (words.textContent !== now.text) words.textContent = now.text;
  const may = now.act === "look" || now.act === "seen" || now.act === "heard" || document.body.dataset.may === "edit";
  button.hidden = !now.act || !may;
  if (now.act && button.textContent !== now.words) button.textContent = now.words;
  button.dataset.act = now.act || ""; button.dataset.name = now.name || ""; button.dataset.change = now.change || ""; button.dataset.back = now.back || "";
  line.dataset.kind = broken ? "broken" : lost() ? "lost" : "";
}

line?.querySelector("button").addEventListener("click", async (event) => {
  const { act, name, change, back } = event.currentTarget.dataset;
  if (act === "look") { location.href = "/live"; return; }
  if (act === "seen") { for (const work of Object.values(works)) if (work.fault) seenFault.add(work.fault + work.began_anew); draw(); return; }
  if (act === "heard") { refused = ""; draw(); return; }
  try {
    if (act === "back" && back) { say((await post(back, {}, { what: "taking back" })).says); tell("posted", {}); }
    else if (act === "back") { const told = await post("/api/take-back", { revision: Number(change) }, { what: "taking back" }); say(told.did); tell("changed", { revision: told.revision, since: told.revision - 1 }); }
    else say((await post(`/api/work/${name}/${act}`)).says);
  } catch (error) { say(error.message); }
});

// What every page hears of how things stand.
export function stands(told) {
  works = Object.fromEntries((told.works || []).map((work) => [work.name, work]));
  silent = told.silent || "";
  alarms(told);
  draw();
}
// How many alarms are open stands at Live, in the tab's title and as its icon, wherever one is.
function alarms(told) {
  broken = told.broken || "";
  const count = document.getElementById("alarms-open");
  if (count) { count.hidden = !told.open; count.textContent = told.open || ""; }
  const icon = document.querySelector('link[rel="icon"]');
  if (icon) icon.href = icon.href.replace(/mark(-alarm)?\.svg/, told.open ? "mark-alarm.svg" : "mark.svg");
  document.title = `${told.open ? `(${told.open}) ` : ""}${document.title.replace(/^\(\d+\) /, "")}`;
}
const on = (what, does) => document.body.addEventListener(`lw:${what}`, (event) => { does(event.detail || {}); draw(); });
on("work", (work) => { works[work.name] = work; });
on("alarms", alarms);
on("readings", (told) => { silent = told.silent || ""; });
on("lost", () => {}); on("found", () => {}); on("waiting", () => {});
on("kept", (told) => { saved = new Date(); if (told.late) said = { text: `${told.what || "What waited"} is kept.`, change: told.said.change ?? null }; });
on("refused", (told) => { refused = `${told.what || "What waited"} was not kept: ${told.says}`; });
draw();
