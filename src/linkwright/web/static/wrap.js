// The page Wrap: the time line is drawn for this width, and for any stretch of time; logs are dropped.
import { onWidth, svg as make, width } from "./lib/canvas.js";
import { gestures } from "./lib/gesture.js";
import { getJson, post, tell } from "./lib/net.js";
import { files, send } from "./lib/send.js";
import { say } from "./lib/status.js";
import { did } from "./page.js";

const box = document.getElementById("wrap-picture"), readout = document.getElementById("readout");
let shown = null, drag = null;  // shown: from and to in ms, null for all of it

async function draw() {
  const query = new URLSearchParams({ width: String(width(box)) });
  if (shown) { query.set("from", new Date(shown[0]).toISOString()); query.set("to", new Date(shown[1]).toISOString()); }
  let told = null;
  try { told = await getJson(`/api/wrap/picture?${query}`, { as: "picture", ms: 120000 }); } catch (error) { readout.textContent = error.message; }
  if (!told) return;
  box.innerHTML = told.svg;
  readout.textContent = `${told.from.slice(11, 19)} to ${told.to.slice(11, 19)}${told.whole ? `, all of it.${matchMedia("(pointer: fine)").matches ? " Drag over the picture to look closer." : ""}` : ""}`;
}
const svg = () => box.querySelector("svg");
function whole() { const at = svg(); return [Number(at.dataset.from), Number(at.dataset.to)]; }
function show(what) {
  const [from, to] = whole(), long = to - from, middle = (from + to) / 2;
  if (what === "whole") shown = null;
  else if (what === "closer") shown = long > 1000 ? [middle - long / 4, middle + long / 4] : [from, to];
  else if (what === "wider") shown = long < 30 * 86400000 ? [middle - long, middle + long] : [from, to];
  else { const by = (what === "later" ? 0.5 : -0.5) * long; shown = [from + by, to + by]; }
  draw();
}
document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-show],[data-from],[data-remove-log],[data-was]");
  if (!button || button.closest("svg")) return;
  if (button.dataset.show) show(button.dataset.show);
  else if (button.dataset.was !== undefined) {
    const { was, of, at } = button.dataset;
    try { did(await post("/wrap/was", { link: of, at_ms: Number(at), was }, { what: "what it was" })); } catch (error) { say(error.message); }
    fresh();
  }
  else if (button.dataset.removeLog) {
    try { did(await post(`/wrap/logs/remove?of=${encodeURIComponent(button.dataset.removeLog)}`)); } catch (error) { say(error.message); }
    fresh();
  } else {
    shown = [Date.parse(button.dataset.from), Date.parse(button.dataset.to)];
    draw();
    box.focus();
    box.scrollIntoView({ block: "nearest" });
  }
});
box.addEventListener("keydown", (event) => {
  const what = { "+": "closer", "=": "closer", "-": "wider", ArrowLeft: "earlier", ArrowRight: "later", Home: "whole" }[event.key];
  if (!what) return;
  event.preventDefault();
  show(what);
});
function moment(event) {  // where in time a pointer is
  const at = svg(), seen = at.getBoundingClientRect(), scale = seen.width / at.viewBox.baseVal.width;
  const left = Number(at.dataset.left), right = Number(at.dataset.right), [from, to] = whole();
  const x = Math.min(right, Math.max(left, (event.clientX - seen.left) / scale));
  return [x, from + (to - from) * (x - left) / (right - left)];
}
gestures(box, {
  down: (event) => {
    if (event.pointerType === "touch" || !svg()) return null;
    const [x, at] = moment(event), mark = make("rect", { y: 0, height: svg().viewBox.baseVal.height, class: "chosen" });
    svg().append(mark);
    drag = { x, at, mark };
    event.preventDefault();
    return drag;
  },
  drag: (event) => { const [x] = moment(event); drag.mark.setAttribute("x", Math.min(x, drag.x)); drag.mark.setAttribute("width", Math.abs(x - drag.x)); },
  up: (event) => {
    const [x, at] = moment(event), from = drag;
    drag = null;
    from.mark.remove();
    box.focus({ preventScroll: true });
    if (Math.abs(x - from.x) < 6) return;
    shown = [Math.min(at, from.at), Math.max(at, from.at)];
    if (shown[1] - shown[0] < 300) shown = [shown[0] - 150, shown[1] + 150];
    draw();
  },
  cancel: () => { drag?.mark.remove(); drag = null; },
});

// While the readings are being gone through, the page asks how far it is.
let waiting = null;
const busy = () => Boolean(document.getElementById("wrap-busy")?.dataset.busy);
const fresh = () => tell("wrap", {});
function follow() { clearTimeout(waiting); if (busy()) waiting = setTimeout(fresh, 700); }
let was = busy();
document.body.addEventListener("lw:part", (event) => {
  if (event.detail.part.id !== "body") return;
  if (was || busy()) draw();
  was = busy();
  follow();
});
files("logs", async (chosen) => { for (const file of chosen) await send("/wrap/logs", file, {}); fresh(); });
onWidth(box, draw);
document.body.addEventListener("lw:plan", () => draw());
draw(); follow();
