// The event in pictures: each is drawn as wide as its place; in one the arrow keys go from mark to mark, and what is
// taken says beside itself whose it is.
import { onWidth, width } from "./lib/canvas.js";
import { getText } from "./lib/net.js";
import { swap } from "./lib/parts.js";
import { say } from "./lib/status.js";

const boxes = [...document.querySelectorAll("[data-picture]")];
async function draw(box) {
  const turned = box.dataset.turned ? `&${box.dataset.turned}` : "";
  try {
    const text = await getText(`${box.dataset.picture}${turned}&width=${width(box)}`, { as: box.dataset.picture });
    if (text !== null) { swap(box, text); if (box.contains(document.activeElement)) show(box, document.activeElement); }
  } catch (error) { say(error.message); }
}
const marks = (box) => [...box.querySelectorAll(".stretch")];
function show(box, mark) {
  for (const other of marks(box)) other.setAttribute("tabindex", other === mark ? "0" : "-1");
  const pinned = box.querySelector(".pinned"), drawn = box.querySelector(".drawn-event");
  if (mark.localName === "a") return;
  const at = mark.querySelector(".hit").getBoundingClientRect(), in_ = drawn.getBoundingClientRect();
  pinned.hidden = false;
  pinned.textContent = mark.getAttribute("aria-label");
  const left = Math.min(at.left - in_.left, in_.width - pinned.offsetWidth - 4);
  const under = at.bottom - in_.top + 6, over = at.top - in_.top - pinned.offsetHeight - 6;
  pinned.style.left = `${Math.max(4, left)}px`;
  pinned.style.top = `${under + pinned.offsetHeight > in_.height && over > 0 ? over : under}px`;
}
// The nearest mark in a direction: how far along, and four times how far aside.
function next(box, mark, [dx, dy]) {
  const middle = (place) => { const at = place.querySelector(".hit").getBoundingClientRect(); return [at.left + at.width / 2, at.top + at.height / 2]; };
  const [x, y] = middle(mark);
  let best = null, least = Infinity;
  for (const mark of marks(box)) {
    const [a, b] = middle(mark), along = (a - x) * dx + (b - y) * dy, aside = Math.abs((a - x) * dy) + Math.abs((b - y) * dx);
    if (along > 2 && along + 4 * aside < least) { least = along + 4 * aside; best = mark; }
  }
  return best;
}
const WAYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
for (const box of boxes) {
  box.addEventListener("click", (event) => {
    const turn = event.target.closest("[data-turn]"), mark = event.target.closest(".stretch");
    if (turn) { box.dataset.turned = turn.dataset.turn; draw(box); }
    else if (mark && mark.localName !== "a") { mark.focus({ preventScroll: true }); show(box, mark); }
  });
  box.addEventListener("focusin", (event) => { const mark = event.target.closest(".stretch"); if (mark) show(box, mark); });
  box.addEventListener("focusout", () => { const pinned = box.querySelector(".pinned"); if (pinned) pinned.hidden = true; });
  box.addEventListener("keydown", (event) => {
    const mark = event.target.closest(".stretch");
    if (!mark || !WAYS[event.key]) return;
    event.preventDefault();
    next(box, mark, WAYS[event.key])?.focus();
  });
  onWidth(box, () => draw(box));
  draw(box);
}
document.body.addEventListener("lw:plan", () => { for (const box of boxes) draw(box); });
let soon = 0;
document.body.addEventListener("lw:changed", () => { clearTimeout(soon); soon = setTimeout(() => draw(boxes[0]), 150); });
