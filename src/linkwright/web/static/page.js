// What every page does: one stream of events, the ground, buttons that post, the status line, parts that follow.
import { begin, post, probe, tell } from "./lib/net.js";
import { say, stands } from "./lib/status.js";
import "./lib/parts.js";

export const may = document.body.dataset.may;
const html = document.documentElement;

// The ground: paper, dusk or sun.
const choice = document.querySelector("[data-ground-choice]");
if (choice) {
  choice.value = html.dataset.ground;
  choice.addEventListener("change", () => {
    html.dataset.ground = choice.value;
    try { localStorage.setItem("ground", choice.value); } catch { /* private mode */ }
    tell("ground", {});
  });
}

// A carrier is asked for, then set and heard at both ends, one act or all of them; or it is free of whoever was there.
async function onCarrier(what, { link, khz, act, other, on }) {
  if (what === "move") did(await post("/carrier/move", { link, khz: Number(khz), on: on === "yes" }, { what: "the move" }));
  else if (what === "done") did(await post("/tick/carrier", { link, khz: Number(khz), act }, { what: "the tick" }));
  else did(await post("/carrier/free", { other }));
  tell("carriers", {});
}

// One stream a page, closed while the page is hidden, made anew when it was lost: a stream gives up for good after a 401.
let stream = null, tries = 0, revision = Number(document.body.dataset.revision || 0), plan = Number(document.body.dataset.plan || -1);
function listen() {
  if (stream || document.hidden) return;
  stream = new EventSource(document.body.dataset.stream || (document.getElementById("live") ? "/events?live=1" : "/events"));
  const on = (what, does) => stream.addEventListener(what, (event) => does(JSON.parse(event.data)));
  on("hello", (told) => {
    tries = 0;
    stands(told);
    tell("hello", told);
    if (told.revision > revision) changed(told.revision);
    if (told.plan !== plan) planned(told.plan);
  });
  on("changed", (told) => changed(told.revision));
  on("plan", (told) => planned(told.revision));
  for (const what of ["live", "alarms", "air", "work", "listen", "readings", "own", "fitted", "hunted"]) on(what, (told) => tell(what, told));
  stream.addEventListener("behind", () => location.reload());
  stream.onerror = () => {
    probe();
    if (stream.readyState !== EventSource.CLOSED) return;
    stream = null; tries += 1;
    setTimeout(listen, Math.min(15000, 500 * 2 ** tries));
  };
}
function hush() { if (stream) { stream.close(); stream = null; } }
document.addEventListener("visibilitychange", () => (document.hidden ? hush() : listen()));
addEventListener("pagehide", hush);

function changed(now) { const since = revision; revision = Math.max(revision, now); tell("changed", { revision: now, since }); }
function planned(now) { plan = now; tell("plan", { revision: now }); }
export function seen(now) { revision = Math.max(revision, now); }
// An answer to something that was done: told, with its way back.
export function did(told) { seen(told.revision ?? 0); say(told.says ?? told.did, told.change, told.back); }

// A form or a button that tells the laptop something: its fields, or what the button says; it waits where the laptop is away.
async function tells(url, body, what, form) {
  try {
    did(await post(url, body, { what }));
    if (form) form.reset();
    tell("posted", {});
  } catch (error) { say(error.message); }
}
document.addEventListener("submit", (event) => {
  const form = event.target.closest("form[data-tell]");
  if (!form) return;
  event.preventDefault();
  const fields = new FormData(form, event.submitter);
  tells(event.submitter?.dataset.tell || form.dataset.tell, Object.fromEntries(fields), form.dataset.what, form);
});
// A file's text into a field of its form, which is then sent where nothing else is asked for.
document.addEventListener("change", async (event) => {
  const input = event.target.closest("input[type=file][data-into]");
  if (!input || !input.files[0]) return;
  input.form.elements[input.dataset.into].value = await input.files[0].text();
  if (input.dataset.atOnce !== undefined) input.form.requestSubmit();
});
document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-tell][data-says]");
  if (button) tells(button.dataset.tell, JSON.parse(button.dataset.says), button.dataset.what || button.textContent, null);
});

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-do],[data-post],[data-lock],[data-carrier]");
  if (!button || button.closest("#status")) return;
  const { post: url, lock, mhz, do: what, carrier } = button.dataset;
  try {
    if (url) { did(await post(url)); tell("posted", {}); }
    else if (carrier) await onCarrier(carrier, button.dataset);
    else if (lock !== undefined) did(await post("/plan/lock", { link: lock, mhz }));
    else if (what === "undo" || what === "redo") {
      const told = await post(`/api/${what}`);
      did({ ...told, change: what === "undo" ? told.change : null });
      changed(told.revision);
    } else if (what === "back") {
      const told = await post("/api/take-back", { revision: Number(button.dataset.revision) });
      did(told); changed(told.revision);
    }
  } catch (error) { say(error.message); }
});

begin();
// Not before those who wait for what the stream says have begun to listen themselves. A device that is not let in has no stream.
if (document.body.dataset.paired) { if (document.readyState === "complete") listen(); else addEventListener("load", () => setTimeout(listen, 0)); }
