// The page Wrap: the time line is drawn for this width, and for any stretch of time; logs are dropped.
import { post, say } from "./page.js";
import { send } from "./send.js";

const box = document.getElementById("wrap-picture"), readout = document.getElementById("readout");
let shown = null, drag = null, asked = 0;  // shown: from and to in ms, null for all of it

const width = () => Math.max(300, Math.min(1400, Math.floor(box.clientWidth)));
async function draw() {
  const mine = asked += 1, query = new URLSearchParams({ width: width() });
  if (shown) { query.set("from", new Date(shown[0]).toISOString()); query.set("to", new Date(shown[1]).toISOString()); }
  const response = await fetch(`/api/wrap/picture?${query}`), told = await response.json();
  if (mine !== asked) return;
  if (!response.ok) { readout.textContent = [].concat(told.says).join(" "); return; }
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
  const button = event.target.closest("[data-show],[data-from],[data-remove-log]");
  if (!button || button.closest("svg")) return;
  if (button.dataset.show) show(button.dataset.show);
  else if (button.dataset.removeLog) {
    try { say((await post(`/wrap/logs/remove?of=${encodeURIComponent(button.dataset.removeLog)}`)).says); } catch (error) { say(error.message); }
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
box.addEventListener("pointerdown", (event) => {
  if (event.button || event.pointerType === "touch" || !svg()) return;
  const [x, at] = moment(event), mark = document.createElementNS("http://www.w3.org/2000/svg", "rect");
  mark.setAttribute("y", "0"); mark.setAttribute("height", svg().viewBox.baseVal.height); mark.setAttribute("class", "chosen");
  svg().append(mark);
  drag = { x, at, mark };
  box.setPointerCapture(event.pointerId);
  event.preventDefault();
});
box.addEventListener("pointermove", (event) => {
  if (!drag) return;
  const [x] = moment(event);
  drag.mark.setAttribute("x", Math.min(x, drag.x)); drag.mark.setAttribute("width", Math.abs(x - drag.x));
});
box.addEventListener("pointerup", (event) => {
  if (!drag) return;
  const [x, at] = moment(event), from = drag;
  drag = null;
  from.mark.remove();
  box.focus({ preventScroll: true });
  if (Math.abs(x - from.x) < 6) return;
  shown = [Math.min(at, from.at), Math.max(at, from.at)];
  if (shown[1] - shown[0] < 300) shown = [shown[0] - 150, shown[1] + 150];
  draw();
});
box.addEventListener("pointercancel", () => { drag?.mark.remove(); drag = null; });

// While the readings are being gone through, the page asks how far it is.
let waiting = null;
const busy = () => Boolean(document.getElementById("wrap-busy")?.dataset.busy);
function fresh() { document.body.dispatchEvent(new CustomEvent("lw:wrap", { bubbles: true })); }
function follow() {
  clearTimeout(waiting);
  if (busy()) waiting = setTimeout(fresh, 700);
}
let was = busy();
document.body.addEventListener("htmx:afterSettle", () => {
  if (was || busy()) draw();
  was = busy();
  follow();
});
document.getElementById("logs")?.addEventListener("change", async (event) => {
  for (const file of event.target.files) await send("/wrap/logs", file, {});
  event.target.value = "";
  fresh();
});
let last = 0;
addEventListener("resize", () => { if (width() !== last) { last = width(); draw(); } });
document.body.addEventListener("lw:plan", () => draw());
last = width();
draw();
follow();
