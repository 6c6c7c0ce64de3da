// The page Day: calls and breaks are dragged on the drawn day, and the changes of batteries follow; counters run.
import { post, say } from "./page.js";

const box = document.getElementById("day-picture"), readout = document.getElementById("readout");
const STEP = 5, EDGE = 18, WAIT = 700;  // minutes, pixels from the right end that make longer, ms until keys are kept
let held = null, asking = false, wanted = null, keeping = null;

function width() { return Math.max(300, Math.min(1400, Math.floor(box.clientWidth))); }
async function draw(moving) {
  const asked = new URLSearchParams({ width: width() });
  if (moving) { asked.set("path", moving.path); asked.set("minutes", moving.minutes); asked.set("longer", moving.longer); }
  const response = await fetch(`/api/day/picture?${asked}`), told = await response.json();
  if (!response.ok) { if (moving) readout.textContent = [].concat(told.says).join(" "); return false; }
  const focused = document.activeElement?.dataset?.path;
  box.innerHTML = told.svg;
  if (focused) handle(focused)?.focus({ preventScroll: true });
  if (moving) {
    document.getElementById("answer").textContent = told.answer;
    const now = handle(moving.path);
    readout.textContent = now ? `${now.getAttribute("aria-label")}: ${now.getAttribute("aria-valuetext")}` : "";
  }
  return true;
}
const handle = (path) => [...box.querySelectorAll(".handle")].find((one) => one.dataset.path === path);

async function follow(moving) {  // one question at a time, always the newest
  wanted = { ...moving };
  if (asking) return;
  asking = true;
  try { while (wanted) { const one = wanted; wanted = null; await draw(one); } } finally { asking = false; }
}
async function keep(moving) {
  clearTimeout(keeping); keeping = null; held = null;
  if (!moving.minutes && !moving.longer) { await draw(); return; }
  try {
    const told = await post("/api/day/move", { path: JSON.parse(moving.path), minutes: moving.minutes, longer: moving.longer });
    say(told.says);
  } catch (error) { say(error.message); }
  await draw();
  await fresh();
}
async function fresh() {  // what the page says, should it have been changed only in play
  const response = await fetch("/api/day");
  if (response.ok) document.getElementById("answer").textContent = (await response.json()).says;
}

if (box && "drag" in box.dataset) {
  box.addEventListener("pointerdown", (event) => {
    const at = event.target.closest(".handle");
    if (!at || event.button) return;
    const box_of = at.firstElementChild.getBoundingClientRect();  // what is drawn, not what can be hit
    held = { path: at.dataset.path, scale: Number(at.dataset.scale), x: event.clientX, minutes: 0, longer: 0, stretches: event.clientX > box_of.right - EDGE && box_of.width > 60 };
    box.setPointerCapture(event.pointerId);
    event.preventDefault();
    at.focus({ preventScroll: true });
  });
  box.addEventListener("pointermove", (event) => {
    if (!held) return;
    const shown = box.firstElementChild.getBoundingClientRect().width / box.firstElementChild.viewBox.baseVal.width;
    const minutes = Math.max(-1440, Math.min(1440, Math.round((event.clientX - held.x) / (held.scale * shown) / STEP) * STEP));
    const key = held.stretches ? "longer" : "minutes";
    if (held[key] === minutes) return;
    held[key] = minutes;
    follow(held);
  });
  box.addEventListener("pointerup", () => { if (held) keep(held); });
  box.addEventListener("pointercancel", () => { held = null; wanted = null; draw(); fresh(); });
  box.addEventListener("keydown", (event) => {
    const at = event.target.closest(".handle");
    const by = { ArrowLeft: -STEP, ArrowDown: -STEP, ArrowRight: STEP, ArrowUp: STEP, PageUp: 30, PageDown: -30 }[event.key];
    if (event.key === "Escape" && keeping) { clearTimeout(keeping); keeping = null; held = null; draw(); fresh(); return; }
    if (!at || !by) return;
    event.preventDefault();
    if (!held || held.path !== at.dataset.path) held = { path: at.dataset.path, minutes: 0, longer: 0 };
    held[event.shiftKey ? "longer" : "minutes"] += by;
    clearTimeout(keeping);
    const moving = held;
    keeping = setTimeout(() => keep(moving), WAIT);
    follow(held);
  });
}

// Counters run by the server's clock: what the telephone thinks the time is does not matter.
let ahead = 0;
function clocks() { const now = document.getElementById("now"); if (now) ahead = Date.parse(now.dataset.now) - Date.now(); }
function count() {
  const now = Date.now() + ahead;
  for (const one of document.querySelectorAll(".since")) {
    const minutes = Math.max(0, Math.floor((now - Date.parse(one.dataset.since)) / 60000));
    const text = minutes >= 60 ? `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")}` : `${minutes} min`;
    if (one.textContent !== text) one.textContent = text;
  }
}
document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-changed]");
  if (!button) return;
  button.disabled = true;
  try { say((await post("/tick/changed", { link: button.dataset.changed })).says); } catch (error) { say(error.message); button.disabled = false; }
});

document.addEventListener("submit", async (event) => {
  if (event.target.id !== "ran") return;
  event.preventDefault();
  const given = event.target.elements;
  try { say((await post("/api/day/run", { link: given.link.value, hours: given.hours.value })).says); given.hours.value = ""; } catch (error) { say(error.message); }
});

function again() { if (!held && !keeping) draw(); }
if (box) {
  draw();
  let last = 0;
  addEventListener("resize", () => { if (width() !== last) { last = width(); again(); } });
  document.body.addEventListener("lw:plan", again);
  document.body.addEventListener("lw:changed", again);
}
document.body.addEventListener("htmx:beforeSwap", (event) => {  // whoever is typing a run time is left alone
  const at = document.activeElement;
  if (at?.name === "hours" && at.value && event.detail.target.id === "body") event.detail.shouldSwap = false;
});
document.body.addEventListener("htmx:afterSwap", () => { clocks(); count(); });
clocks(); count(); setInterval(count, 5000);
