// The page Day: calls and breaks are dragged on the drawn day, and the changes of batteries follow; counters run.
import { onWidth, width } from "./lib/canvas.js";
import { gestures, newest } from "./lib/gesture.js";
import { hours } from "./lib/lengths.js";
import { getJson, post } from "./lib/net.js";
import { answer } from "./lib/parts.js";
import { say } from "./lib/status.js";
import { did } from "./page.js";

const box = document.getElementById("day-picture"), readout = document.getElementById("readout");
const STEP = 5, EDGE = 18, WAIT = 700;  // minutes, pixels from the right end that make longer, ms until keys are kept
let held = null, keeping = null;

async function draw(moving) {
  const asked = new URLSearchParams({ width: String(width(box)) });
  const on = document.getElementById("on");
  if (on) asked.set("on", on.value);
  if (moving) for (const key of ["path", "minutes", "longer"]) asked.set(key, moving[key]);
  let told = null;
  try { told = await getJson(`/api/day/picture?${asked}`, { as: "day" }); } catch (error) { if (moving) readout.textContent = error.message; }
  if (!told) return;
  const focused = document.activeElement?.dataset?.path;
  box.innerHTML = told.svg;
  answer(told.answer);
  if (focused) handle(focused)?.focus({ preventScroll: true });
  const now = moving && handle(moving.path);
  if (moving) readout.textContent = now ? `${now.getAttribute("aria-label")}: ${now.getAttribute("aria-valuetext")}` : "";
}
const handle = (path) => [...box.querySelectorAll(".handle")].find((grip) => grip.dataset.path === path);
const follow = newest(draw);

async function keep(moving) {
  clearTimeout(keeping); keeping = null; held = null;
  if (moving.minutes || moving.longer) {
    try { did(await post("/api/day/move", { path: JSON.parse(moving.path), minutes: moving.minutes, longer: moving.longer }, { what: "the times of a call" })); }
    catch (error) { say(error.message); }
  }
  await draw();
}

if (box && "drag" in box.dataset) {
  gestures(box, {
    down: (event) => {
      const at = event.target.closest(".handle");
      if (!at) return null;
      const drawn = at.firstElementChild.getBoundingClientRect();  // what is drawn, not what can be hit
      held = { path: at.dataset.path, scale: Number(at.dataset.scale), x: event.clientX, minutes: 0, longer: 0, stretches: event.clientX > drawn.right - EDGE && drawn.width > 60 };
      event.preventDefault();
      at.focus({ preventScroll: true });
      return held;
    },
    drag: (event) => {
      const shown = box.firstElementChild.getBoundingClientRect().width / box.firstElementChild.viewBox.baseVal.width;
      const minutes = Math.max(-1440, Math.min(1440, Math.round((event.clientX - held.x) / (held.scale * shown) / STEP) * STEP));
      const key = held.stretches ? "longer" : "minutes";
      if (held[key] === minutes) return;
      held[key] = minutes;
      follow({ ...held });
    },
    up: () => { if (held) keep(held); },
    cancel: () => { held = null; draw(); },
  });
  box.addEventListener("keydown", (event) => {
    const at = event.target.closest(".handle");
    const by = { ArrowLeft: -STEP, ArrowDown: -STEP, ArrowRight: STEP, ArrowUp: STEP, PageUp: 30, PageDown: -30 }[event.key];
    if (event.key === "Escape" && keeping) { clearTimeout(keeping); keeping = null; held = null; draw(); return; }
    if (!at || !by) return;
    event.preventDefault();
    if (!held || held.path !== at.dataset.path) held = { path: at.dataset.path, minutes: 0, longer: 0 };
    held[event.shiftKey ? "longer" : "minutes"] += by;
    clearTimeout(keeping);
    const moving = held;
    keeping = setTimeout(() => keep(moving), WAIT);
    follow({ ...held });
  });
}

// Counters run by the server's clock: what the telephone thinks the time is does not matter.
let ahead = 0;
function count() {
  const now = Date.now() + ahead;
  for (const cell of document.querySelectorAll(".since")) {
    const text = hours(now - Date.parse(cell.dataset.since));
    if (cell.textContent !== text) cell.textContent = text;
  }
}
function clocks() { const now = document.getElementById("now"); if (now) ahead = Date.parse(now.dataset.now) - Date.now(); count(); }
document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-changed]");
  if (!button) return;
  button.disabled = true;
  try { did(await post("/tick/changed", { link: button.dataset.changed }, { what: "the change of cells" })); } catch (error) { say(error.message); button.disabled = false; }
});
document.addEventListener("submit", async (event) => {
  if (event.target.id !== "ran") return;
  event.preventDefault();
  const given = event.target.elements;
  try { did(await post("/api/day/run", { link: given.link.value, hours: given.hours.value }, { what: "the run time" })); given.hours.value = ""; } catch (error) { say(error.message); }
});

function again() { if (!held && !keeping) draw(); }
if (box) {
  draw(); onWidth(box, again); document.getElementById("on")?.addEventListener("change", again);
  for (const what of ["lw:plan", "lw:changed"]) document.body.addEventListener(what, again);
}
document.body.addEventListener("lw:part", clocks);
clocks(); setInterval(count, 5000);
