// The page Shoot: every field is kept as soon as it is left; what somebody else changed meanwhile is shown, never overwritten.
import { post as send, say, seen, takeAnswer } from "./page.js";

let revision = Number(document.body.dataset.revision), newest = revision, own = 0;

// One's own change comes back as an event too, perhaps before its answer: events wait until the answer is there.
async function post(url, content) {
  own += 1;
  try {
    const answered = await send(url, content);
    if (answered.revision > revision) { revision = answered.revision; seen(revision); }
    return answered;
  } finally {
    own -= 1;
    if (!own && newest > revision) catchUp();
  }
}
const body = document.getElementById("body");
const fieldOf = (element) => element.closest(".field");
const control = (field) => field.querySelector("[name=value]");
const key = (path) => JSON.stringify(path);

let told_of = 0;
function told(answer) {  // answers may overtake each other: an older one says nothing any more
  if (answer.revision < told_of) return;
  told_of = answer.revision;
  wrong(answer.wrong || []);
}

function wrong(list) {
  const by = new Map(list.map(([path, says]) => [key(path), says]));
  for (const field of body.querySelectorAll(".field")) {
    if (field.dataset.asks) continue;  // two values are waiting for somebody to choose
    const says = by.get(key(JSON.parse(field.dataset.path))) || [];
    const at = field.querySelector(".wrong");
    const text = says.join(" ");
    if (at.textContent !== text) at.textContent = text;
    field.classList.toggle("is-wrong", says.length > 0);
    control(field).toggleAttribute("aria-invalid", says.length > 0);
  }
  const problems = document.getElementById("problems");
  if (problems) problems.replaceChildren(...(list.length ? list.slice(0, 30).flatMap(([, says]) => says.map((text) => item(text))) : [item("Nothing.")]));
  answer();
}
const item = (text) => { const li = document.createElement("li"); li.textContent = text; return li; };

let asking = null;
function answer() {  // the sentence at the top, a moment after the last change
  clearTimeout(asking);
  asking = setTimeout(async () => {
    const response = await fetch("/shoot/body");
    if (!response.ok) return;
    const fresh = new DOMParser().parseFromString(await response.text(), "text/html").getElementById("new-answer");
    document.getElementById("answer").textContent = fresh.textContent;
  }, 300);
}

body.addEventListener("change", async (event) => {
  const field = fieldOf(event.target);
  if (!field || event.target.name !== "value") return;
  const path = JSON.parse(field.dataset.path), input = event.target;
  try {
    const answered = await post("/api/field", { path, seen: field.dataset.seen, text: input.value });
    field.dataset.seen = answered.seen;
    delete field.dataset.asks;
    if (document.activeElement !== input) input.value = answered.text;
    told(answered);
    say("");
  } catch (error) {
    if (error.status === 409) conflict(field, input, error.told); else say(error.message);
  }
});

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
function button(text) { const made = document.createElement("button"); made.type = "button"; made.className = "quiet"; made.textContent = text; return made; }

// Rows: add, remove, move up.
body.addEventListener("click", async (event) => {
  const pressed = event.target.closest("[data-do]");
  if (!pressed) return;
  const entry = pressed.closest("[data-entry]"), list = pressed.closest("[data-list]");
  try {
    if (pressed.dataset.do === "add") {
      const value = pressed.dataset.value ? JSON.parse(pressed.dataset.value) : {};
      const answered = await post("/api/entry", { path: JSON.parse(list.dataset.list), value });
      await refresh(true);
      const added = [...body.querySelectorAll("[data-entry]")].find((one) => one.dataset.entry === key(answered.path));
      const first = added && added.querySelector("[name=value]");
      if (first) first.focus();
    } else if (pressed.dataset.do === "remove") {
      await post("/api/remove", { path: JSON.parse(entry.dataset.entry), revision });
      await refresh(true);
    } else if (pressed.dataset.do === "up") {
      const before = entry.previousElementSibling;
      if (!before || !before.dataset.entry) return;
      await post("/api/move", { path: JSON.parse(entry.dataset.entry), revision, before: JSON.parse(before.dataset.entry).pop() });
      await refresh(true);
    }
  } catch (error) { say(error.message); }
});

// A paste of several cells goes to the table, from the cell that it was pasted into.
body.addEventListener("paste", async (event) => {
  const field = fieldOf(event.target), row = event.target.closest("tr[data-entry]"), list = event.target.closest("[data-list]");
  const text = event.clipboardData.getData("text/plain");
  if (!field || !row || !list || !/[\t\n]/.test(text.trim())) return;
  event.preventDefault();
  const path = JSON.parse(field.dataset.path);
  try {
    told(await post("/api/paste", { path: JSON.parse(list.dataset.list), entry: JSON.parse(row.dataset.entry).pop(), key: path[path.length - 1], text }));
    await refresh(true);
  } catch (error) { say(error.message); }
});

body.addEventListener("submit", async (event) => {
  const form = event.target.closest("[data-equipment]");
  if (!form) return;
  event.preventDefault();
  try {
    told(await post("/api/equipment", { kind: form.dataset.equipment, name: form.elements.name.value, use: form.elements.use.value }));
    await refresh(true);
  } catch (error) { say(error.message); }
});

const file = document.getElementById("import");
if (file) file.addEventListener("change", async () => {
  const data = new FormData();
  data.append("file", file.files[0]);
  try {
    const answered = await post("/api/import", data);
    await refresh(true);
    say(answered.missing.length ? `Opened. Drop these files on the page Air: ${answered.missing.join(", ")}.` : "Opened; undo takes it back.");
  } catch (error) { say(error.message); }
  file.value = "";
});

// What others changed: values where nobody is typing, whole parts where rows came or went.
async function refresh(all) {
  const focused = document.activeElement && body.contains(document.activeElement) ? document.activeElement.id : null;
  const open = new Map([...body.querySelectorAll("details")].map((one) => [one.dataset.entry, one.open]));
  if (!all && focused) { say("Somebody added or removed something; it will show when you leave this field."); return; }
  const response = await fetch("/shoot/body");
  if (!response.ok) return;
  body.innerHTML = await response.text();
  for (const one of body.querySelectorAll("details")) if (open.has(one.dataset.entry)) one.open = open.get(one.dataset.entry);
  takeAnswer();
  if (focused) document.getElementById(focused)?.focus();
}
document.body.addEventListener("lw:changed", (event) => {
  newest = Math.max(newest, event.detail.revision);
  if (!own && newest > revision) catchUp();
});
async function catchUp() {
  const state = await (await fetch(`/api/state?since=${revision}`)).json();
  if (own) return;
  revision = Math.max(revision, state.revision);
  for (const value of state.values) {
    for (const field of body.querySelectorAll(".field")) {
      if (key(JSON.parse(field.dataset.path)) !== key(value.path)) continue;
      const input = control(field);
      if (field.dataset.asks || (document.activeElement === input && input.value !== value.text)) continue;  // being typed: the next change asks
      field.dataset.seen = value.seen; input.value = value.text;
    }
  }
  if (state.shape) await refresh(false);
  told(state);
}
