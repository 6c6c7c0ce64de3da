// The pages Shoot and The bag: every field is kept as soon as it is left, and waits here while it cannot be; what somebody else
// changed meanwhile is shown, never overwritten.
import { getJson, getText, post as send, upload, waiting } from "./lib/net.js";
import { answer as said, asked, fill, takeAnswer } from "./lib/parts.js";
import { say } from "./lib/status.js";
import { button } from "./lib/table.js";
import { did, seen } from "./page.js";

let revision = Number(document.body.dataset.revision), newest = revision, own = 0;
const body = document.getElementById("body"), api = body.dataset.api || "/api", part = body.dataset.part || "/shoot";
// Of a long list a part is shown: what somebody finds or chooses, else where an entry is that was gone to.
const find = /** @type {HTMLInputElement} */ (document.getElementById("find"));
let goneTo = null;
const shownPart = (url) => { const at = asked(body, url); return goneTo ? `${at}${at.includes("?") ? "&" : "?"}go=${encodeURIComponent(key(goneTo))}` : at; };
document.addEventListener("change", (event) => { if (event.target.matches("[data-again]")) goneTo = null; }, true);
const fieldOf = (element) => element.closest(".field");
const control = (field) => field.querySelector("[name=value]");
const touched = (field) => field.querySelector("[data-tick], [name=value]");
const key = (path) => JSON.stringify(path);
// Some of a list, ticked: nothing said is all of them.
const saidIn = (text) => (text.startsWith("[") ? JSON.parse(text) : text.split(", ").filter(Boolean));
function set(field, text) {
  control(field).value = text;
  const said = saidIn(text);
  for (const tick of field.querySelectorAll("[data-tick]")) tick.checked = !said.length || said.includes(tick.dataset.tick);
}
body.addEventListener("change", (event) => {
  const field = event.target.dataset.tick && fieldOf(event.target), input = field && control(field);
  if (!field) return;
  const boxes = [...field.querySelectorAll("[data-tick]")], before = saidIn(input.value), on = boxes.filter((box) => box.checked).map((box) => box.dataset.tick);
  if (!on.length) { event.target.checked = true; say("Somebody must be on: remove the call, or tick another first."); return; }
  const names = [...before.filter((name) => on.includes(name)), ...on.filter((name) => !before.includes(name))];
  input.value = on.length === boxes.length ? "" : JSON.stringify(names);
  input.dispatchEvent(new Event("change", { bubbles: true }));
});

// One's own change comes back as an event too, perhaps before its answer: events wait until the answer is there.
async function post(url, content, what) {
  own += 1;
  try {
    const answered = await send(url, content, { what });
    seen(answered.revision);
    if (answered.revision === revision + 1) revision = answered.revision;  // else somebody else was at it in between
    newest = Math.max(newest, answered.revision);
    return answered;
  } finally {
    own -= 1;
    if (!own && newest > revision) catchUp();
  }
}

let toldOf = 0;
function told(answer) {  // answers may overtake each other: an older one says nothing any more
  if (answer.revision < toldOf) return;
  toldOf = answer.revision;
  wrong(answer.wrong || []);
}
function wrong(list) {
  const by = new Map(list.map(([path, says]) => [key(path), says]));
  for (const field of body.querySelectorAll(".field")) {
    if (field.dataset.asks) continue;  // two values are waiting for somebody to choose
    const says = by.get(key(JSON.parse(field.dataset.path))) || [], at = field.querySelector(".wrong"), text = says.join(" ");
    if (at.textContent !== text) at.textContent = text;
    field.classList.toggle("is-wrong", says.length > 0);
    control(field).toggleAttribute("aria-invalid", says.length > 0);
  }
  const problems = document.getElementById("problems");
  problems?.replaceChildren(...list.flatMap(([path, says]) => says.map((say) => going(path, say))).slice(0, 30));
  document.getElementById("to-fix")?.toggleAttribute("hidden", !list.length);
  answer();
}
function going(path, says) {  // what is wrong, and the way to its field
  const line = document.createElement("li"), to = button(says);
  to.className = "link"; to.dataset.go = key(path);
  line.append(to);
  return line;
}
const cardAt = (path) => [...body.querySelectorAll("details.card")].find((card) => card.dataset.entry === path);
// Opens every card on the way to a field, and stands in it: a card's fields come when it is opened.
async function goTo(path) {
  if (path[0] !== "shoot" && find && !cardAt(key(path.slice(0, 2)))) {  // in another part of a long list
    goneTo = path; find.value = "";
    await refresh(true);
  }
  for (let many = 2; many <= path.length; many += 1) {
    const card = cardAt(key(path.slice(0, many)));
    if (card) { card.open = true; await fill(card); }
  }
  const field = shown(path), at = field ? touched(field) : cardAt(key(path));
  if (!at) return;
  at.closest("details.more")?.setAttribute("open", "");
  (field ? at : at.querySelector("summary")).focus();
  if (field && at.select) at.select();
  at.scrollIntoView({ block: "center" });
}
function lines(cards) {
  for (const card of body.querySelectorAll("details.card")) {
    const told = cards?.[card.dataset.entry];
    if (!told) continue;
    const [name, says, faults] = told;
    card.querySelector("summary b").textContent = name;
    card.querySelector("summary .says").textContent = says;
    const gone = card.querySelector(":scope > .part > .row [data-do=remove]:not([data-sure])");
    if (gone) gone.textContent = `Remove ${name}`;
    card.querySelector("summary .fix").textContent = faults ? `${faults} to fix` : "";
  }
}
let asking = null;
function answer() {  // the sentence at the top, a moment after the last change
  clearTimeout(asking);
  asking = setTimeout(async () => {
    const told = await getJson(shownPart(`${part}/answer`), { as: "answer" }).catch(() => null);
    if (told) { said(told.answer); lines(told.cards); }
  }, 150);
}

body.addEventListener("change", async (event) => {
  const field = fieldOf(event.target);
  if (!field || event.target.name !== "value") return;
  const path = JSON.parse(field.dataset.path), input = event.target, label = field.querySelector("label").textContent.trim();
  field.classList.add("waits");
  try {
    const answered = await post(`${api}/field`, { path, seen: field.dataset.seen, text: input.value }, label);
    const now = shown(path) || field;
    now.dataset.seen = answered.seen;
    delete now.dataset.asks;
    if (document.activeElement !== control(now) && !waits(path)) set(now, answered.text);
    told(answered);
    if (answered.changed) did(answered);
    if (answered.anew) await refresh(true);
  } catch (error) {
    if (error.status === 409) conflict(field, input, error.told);
    else { say(error.message); (shown(path) || field).querySelector(".wrong").textContent = error.message; }
  }
  (shown(path) || field).classList.toggle("waits", waits(path));
});
const shown = (path) => [...body.querySelectorAll(".field")].find((field) => field.dataset.path === key(path));
const waits = (path) => waiting().some((change) => change.url === `${api}/field` && key(change.body.path) === key(path));
// What waited when the page was loaded anew stands in its field again.
function still() {
  for (const change of waiting()) {
    const field = change.url === `${api}/field` && shown(change.body.path);
    if (field) { set(field, change.body.text); field.classList.add("waits"); }
  }
  for (const field of body.querySelectorAll(".field:has([data-tick])")) set(field, control(field).value);
}
document.body.addEventListener("lw:waiting", () => { for (const field of body.querySelectorAll(".field.waits")) field.classList.toggle("waits", waits(JSON.parse(field.dataset.path))); });

function conflict(field, input, answered) {  // two people, one field: both values are shown, one of them is chosen
  const mine = input.value, at = field.querySelector(".wrong");
  field.dataset.asks = "yes";
  at.textContent = `${answered.who || "Somebody"} changed this to “${answered.theirs ?? ""}” meanwhile; you typed “${mine}”. `;
  const keep = button("Keep theirs"), take = button("Use mine");
  keep.onclick = () => refresh(true);
  take.onclick = () => {
    field.dataset.seen = answered.seen;
    input.value = mine;
    input.dispatchEvent(new Event("change", { bubbles: true }));
  };
  at.append(keep, " ", take);
}

// Rows: add, remove (after it was said what goes along), move up.
body.addEventListener("click", async (event) => {
  const pressed = event.target.closest("[data-do]");
  if (!pressed) return;
  const entry = pressed.closest("[data-entry]"), list = pressed.closest("[data-list]");
  try {
    if (pressed.dataset.do === "add") {
      const value = pressed.dataset.value ? JSON.parse(pressed.dataset.value) : {};
      const answered = await post(`${api}/entry`, { path: JSON.parse(list.dataset.list), value }, "the new entry");
      did(answered);
      await refresh(true);
      const { path } = answered, first = [...body.querySelectorAll(".field")].find((field) => field.dataset.path.startsWith(key(path).slice(0, -1)));
      await goTo([...path, first && first.closest("tr") ? JSON.parse(first.dataset.path).pop() : "name"]);
    } else if (pressed.dataset.do === "remove" && entry) await remove(pressed, JSON.parse(entry.dataset.entry));
    else if (pressed.dataset.do === "up") {
      const before = entry.previousElementSibling;
      if (!before || !before.dataset.entry) return;
      did(await post("/api/move", { path: JSON.parse(entry.dataset.entry), revision, before: JSON.parse(before.dataset.entry).pop() }, "the new order"));
      await refresh(true);
    }
  } catch (error) { say(error.message); }
});
async function remove(pressed, path) {
  const along = pressed.dataset.sure ? { along: [] } : await getJson(`${api}/remove?path=${encodeURIComponent(key(path))}`);
  if (along.along.length) {
    pressed.dataset.sure = "yes";
    pressed.textContent = `Remove it with ${along.along.join(", ")}?`;
    return;
  }
  did(await post(`${api}/remove`, { path, revision }, "the removal"));
  await refresh(true);
}

// A paste of several cells goes to the table, from the cell that it was pasted into.
body.addEventListener("paste", async (event) => {
  const field = fieldOf(event.target), row = event.target.closest("tr[data-entry],.card[data-entry]"), list = event.target.closest("[data-list]");
  const text = event.clipboardData.getData("text/plain");
  if (!field || !row || !list || !/[\t\n]/.test(text.trim())) return;
  event.preventDefault();
  const path = JSON.parse(field.dataset.path);
  try {
    const answered = await post("/api/paste", { path: JSON.parse(list.dataset.list), entry: JSON.parse(row.dataset.entry).pop(), key: path[path.length - 1], text }, "the paste");
    told(answered); did(answered);
    await refresh(true);
  } catch (error) { say(error.message); }
});

// Forms and buttons that send something else than one field; a file that is read into a field of its form.
async function sends(url, content, what) {
  try {
    const answered = await post(url, content, what);
    told(answered); did(answered);
    await refresh(true);
  } catch (error) { say(error.message); }
}
body.addEventListener("submit", (event) => {
  const form = event.target.closest("[data-json]");
  if (!form) return;
  event.preventDefault();
  const content = Object.fromEntries([...new FormData(form)].filter(([name]) => name));
  sends(form.dataset.json, content, content.name || "the entry");
});
body.addEventListener("click", (event) => {
  const { go } = event.target.closest("button[data-go]")?.dataset ?? {};
  if (go) goTo(JSON.parse(go));
  const pressed = event.target.closest("button[data-json]");
  if (pressed) sends(pressed.dataset.json, JSON.parse(pressed.dataset.body || "{}"), pressed.textContent);
});
body.addEventListener("change", async (event) => {
  const permits = event.target.name === "permits" && event.target.closest("[data-permits]");
  if (permits) await sends("/prepare/permits", { permits: [...permits.querySelectorAll("input:checked")].map((tick) => tick.value) }, "the permits");
});
document.querySelector("[data-post-text]")?.addEventListener("change", async (event) => {
  const input = event.target;
  if (input.files[0]) await sends(input.dataset.postText, { text: await input.files[0].text() }, input.files[0].name);
  input.value = "";
});
document.body.addEventListener("lw:posted", () => { if (api !== "/api") refresh(true); });

const file = document.getElementById("import");
file?.addEventListener("change", async () => {
  const data = new FormData();
  data.append("file", file.files[0]);
  try {
    const answered = await upload("/api/import", data);
    await refresh(true);
    did({ ...answered, says: answered.missing.length ? `Opened. Drop these files on the page Air: ${answered.missing.join(", ")}.` : "Opened." });
  } catch (error) { say(error.message); }
  file.value = "";
});

// What others changed: values where nobody is typing, whole parts where rows came or went.
async function refresh(all) {
  const focused = document.activeElement && body.contains(document.activeElement) ? document.activeElement.id : null;
  const open = new Map([...body.querySelectorAll("details")].map((details) => [details.dataset.entry, details.open]));
  if (!all && (focused || body.querySelector("[data-asks]"))) { say("Somebody added or removed something; it will show when you leave this field."); return; }
  const text = await getText(shownPart(), { as: "body" });
  if (text === null) return;
  body.innerHTML = text;
  await reopen(body, open);
  takeAnswer(); still();
  if (focused) document.getElementById(focused)?.focus();
}
async function reopen(within, open) {
  for (const details of within.querySelectorAll("details")) {
    if (!open.get(details.dataset.entry)) continue;
    details.open = true;
    if (details.dataset.part) { await fill(details); await reopen(details.querySelector(".part"), open); }
  }
}
document.body.addEventListener("lw:part", still);
document.body.addEventListener("lw:changed", (event) => {
  newest = Math.max(newest, event.detail.revision);
  if (!own && newest > revision) catchUp();
});
async function catchUp() {
  const state = await getJson(`/api/state?since=${revision}`, { as: "state" }).catch((error) => { say(error.message); return null; });
  if (!state || own) return;
  revision = Math.max(revision, state.revision);
  for (const value of state.values) {
    const field = shown(value.path);
    if (!field) continue;
    const input = control(field);
    if (field.dataset.asks || waits(value.path) || (document.activeElement === input && input.value !== value.text)) continue;  // being typed: the next change asks
    field.dataset.seen = value.seen; set(field, value.text);
  }
  if (state.shape) await refresh(false);
  told(state);
}
still();
