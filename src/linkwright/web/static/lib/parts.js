// Parts of a page that are asked for by themselves: at an event, by a button or a form; what is open stays open, and a
// field in which somebody types stays as it is.
import { width } from "./canvas.js";
import { getText, tell } from "./net.js";
import { say } from "./status.js";

export const asked = (part, url = part.dataset.url) => { const given = [...document.querySelectorAll(part.dataset.with || "no-such")]; return given.length ? `${url}?${new URLSearchParams(given.map((one) => [one.name, one.value]))}` : url; };

export async function fresh(part, url = asked(part)) {
  const text = await getText(url, { as: part.id || url }).catch((error) => { refuse(part, error); return null; });
  if (text === null) return false;
  await lifted(part);
  if (typing(part)) { part.dataset.late = "yes"; return false; }
  swap(part, text);
  return true;
}
function refuse(part, error) {
  if (part.id === "body") { say(error.message); return; }
  part.textContent = error.message; part.classList.add("wrong");
}
// Under a finger nothing is drawn anew: what it presses would be gone when it lifts, and the press be lost.
let under = null;
const lifts = new Set();
document.addEventListener("pointerdown", (event) => { under = event.target; }, true);
for (const end of ["pointerup", "pointercancel"]) document.addEventListener(end, () => setTimeout(() => { under = null; for (const go of lifts) go(); lifts.clear(); }), true);
export const lifted = (part) => (under && part.contains(under) ? new Promise((resolve) => { lifts.add(() => resolve()); }) : null);
const typing = (part) => { const at = document.activeElement; return part.contains(at) && at.matches("input:not([type=checkbox]),textarea") && at.value !== at.defaultValue; };
document.addEventListener("focusout", (event) => { const part = event.target.closest?.("[data-late]"); if (part) setTimeout(() => { if (!typing(part)) { delete part.dataset.late; fresh(part); } }, 200); });

// What has the focus keeps it where it is there again: by its id, else by what it is and says; a row by its entry, for
// what it says are numbers, which change.
const says = (details) => (details.localName === "summary" ? name(details.parentElement) : details.textContent);
const sign = (control) => control.id || JSON.stringify([control.tagName, control.name, control.getAttribute("aria-label"), says(control), { ...control.dataset }]);
export function swap(part, text) {
  const open = new Map([...part.querySelectorAll("details")].map((details) => [name(details), details.open]));
  const focus = part.contains(document.activeElement) ? sign(document.activeElement) : "";
  const kept = [...part.querySelectorAll("[data-stays]")];
  part.classList.remove("wrong");
  part.innerHTML = text;
  for (const details of part.querySelectorAll("details")) if (open.has(name(details))) details.open = open.get(name(details));
  for (const piece of kept) if (piece.childElementCount) document.getElementById(piece.id)?.replaceWith(piece);
  if (focus) [...part.querySelectorAll("a, button, input, select, textarea, summary, [tabindex]")].find((control) => sign(control) === focus)?.focus({ preventScroll: true });
  takeAnswer();
  takeChoices();
  tell("part", { part });
}
// What may be chosen in a form that stays as it is while its page is made anew.
function takeChoices() {
  for (const given of document.querySelectorAll("template[data-choices]")) {
    const select = document.getElementById(given.dataset.choices), chosen = select.value;
    select.replaceChildren(given.content.cloneNode(true));
    if ([...select.options].some((option) => option.value === chosen)) select.value = chosen;
  }
}
takeChoices();
const name = (details) => details.dataset.entry || details.querySelector("summary")?.textContent || "";

export function takeAnswer() { const said = document.getElementById("new-answer"); if (said) answer(said.textContent); }
export function answer(text) { const at = document.getElementById("answer"); if (at && at.textContent !== text) at.textContent = text; }

const later = new Map();
function soon(part) { clearTimeout(later.get(part)); later.set(part, setTimeout(() => fresh(part), Number(part.dataset.after || 60))); }
for (const part of document.querySelectorAll("[data-url][data-on]")) {
  for (const what of part.dataset.on.split(" ")) if (what === "load") soon(part); else document.body.addEventListener(`lw:${what}`, () => soon(part));
}

// What is folded away is asked for when it is opened, as wide as it may be drawn; and again where it was swapped.
export async function fill(holder) {
  const part = holder.querySelector(".part");
  if (!part || part.dataset.of === holder.dataset.part) return;
  part.dataset.of = holder.dataset.part;
  try {
    const text = await getText(`${holder.dataset.part}${holder.dataset.part.includes("?") ? "&" : "?"}width=${width(part, 300, 900)}`);
    if (text !== null) { part.innerHTML = text; tell("part", { part }); }
  } catch (error) { part.dataset.of = ""; say(error.message); }
}
function opened(details) { if (details.open) for (const part of [details, ...details.querySelectorAll(":scope > .lazy")]) fill(part); }
function all(part) { for (const details of part.querySelectorAll("details[data-part]")) opened(details); }
document.addEventListener("toggle", (event) => { if (event.target.dataset?.part) opened(event.target); }, true);
document.body.addEventListener("lw:part", (event) => all(event.detail.part));
all(document);

// A form that asks, a form that sends, a button that asks: the answer goes into the part that it names.
const into = (from) => document.getElementById(from.dataset.into);
document.addEventListener("submit", async (event) => {
  const form = event.target.closest("[data-get],[data-send]");
  if (!form) return;
  event.preventDefault();
  const fields = new URLSearchParams(/** @type {any} */ (new FormData(form)));
  if (form.dataset.get) { await fresh(into(form), `${form.dataset.get}?${fields}`); return; }
  try {
    const response = await fetch(form.dataset.send, { method: "POST", body: fields });
    if (response.ok) swap(into(form), await response.text()); else say((await response.json()).says);
  } catch { say("The laptop cannot be reached; try again in a moment."); }
});
document.addEventListener("click", (event) => { const button = event.target.closest("button[data-get]"); if (button) fresh(into(button), button.dataset.get); });
document.addEventListener("change", ({ target: given }) => {
  if (!given.matches("[data-again]")) return;
  if (!given.matches("[name^=first]")) for (const first of document.querySelectorAll(`select[name^=first][data-again="${given.dataset.again}"]`)) first.selectedIndex = 0;
  fresh(document.getElementById(given.dataset.again));
});
export { getText };
