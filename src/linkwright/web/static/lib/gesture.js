// Fingers, mouse and wheel on a picture. One finger scrolls the page, as everywhere: a picture is moved with the mouse,
// with two fingers, or by what can be held on it (`touch-action: none` in the style). The wheel turns the page too, and
// with Ctrl, as a trackpad's pinch says it, the picture. Each is told in pixels of the page.
/** @param {HTMLElement} on
 * @param {{tap?: Function, drag?: Function, pinch?: Function, wheel?: Function, hover?: Function, down?: Function, up?: Function, cancel?: Function}} told */
export function gestures(on, { tap, drag, pinch, wheel, hover, down, up, cancel }) {
  const held = new Map();
  let moved = 0, apart = 0, grip = null, middle = null;
  on.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    const grasp = down ? down(event) : true;
    if (!grasp) return;
    if (!held.size) grip = grasp;
    on.setPointerCapture(event.pointerId);
    held.set(event.pointerId, [event.clientX, event.clientY]); moved = held.size > 1 ? 99 : 0; apart = 0; middle = null;
  });
  on.addEventListener("pointermove", (event) => {
    if (!held.size) { if (event.pointerType === "mouse") hover?.(event); return; }
    const before = held.get(event.pointerId);
    if (!before) return;
    const by = [event.clientX - before[0], event.clientY - before[1]];
    moved += Math.abs(by[0]) + Math.abs(by[1]);
    held.set(event.pointerId, [event.clientX, event.clientY]);
    if (held.size === 2 && pinch) {
      const [a, b] = [...held.values()], now = Math.hypot(a[0] - b[0], a[1] - b[1]), at = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
      if (apart && now > 10) pinch(now / apart, at, [at[0] - middle[0], at[1] - middle[1]]);
      apart = now; middle = at; moved = 99;
    } else if (held.size === 1) drag?.(event, by, moved, grip);
  });
  on.addEventListener("pointerup", (event) => { if (!held.delete(event.pointerId)) return; apart = 0; if (moved <= 6) tap?.(event, grip); if (!held.size) up?.(event, moved, grip); });
  on.addEventListener("pointercancel", (event) => { if (held.delete(event.pointerId)) { apart = 0; cancel?.(event, grip); } });
  // Two fingers are for the picture, so that the page does not scroll beneath them.
  if (pinch) for (const what of ["touchstart", "touchmove"]) on.addEventListener(what, (/** @type {TouchEvent} */ event) => { if (event.touches.length > 1 && event.cancelable) event.preventDefault(); }, { passive: false });
  if (wheel) on.addEventListener("wheel", (event) => { if (!event.ctrlKey) return; event.preventDefault(); wheel(event.deltaY > 0 ? 1 : -1, event); }, { passive: false });
}

// One question at a time, always the newest: for what follows a finger.
export function newest(does) {
  let wanted = null, busy = false;
  return async (what) => {
    wanted = what;
    if (busy) return;
    busy = true;
    try { while (wanted) { const next = wanted; wanted = null; await does(next); } } finally { busy = false; }
  };
}

// A readout beside what it tells of, inside its picture and in sight: right of it, else left, above a finger.
export function pin(box, x, y, over = 14) {
  box.hidden = false;
  const wide = box.parentElement.clientWidth, tall = box.parentElement.clientHeight, top = box.parentElement.getBoundingClientRect().top;
  const beside = x + over + box.offsetWidth <= wide ? x + over : x - over - box.offsetWidth;
  const low = Math.max(0, 110 - top), high = Math.min(tall, innerHeight - 60 - top) - box.offsetHeight;
  box.style.left = `${Math.max(0, Math.min(beside, wide - box.offsetWidth))}px`;
  box.style.top = `${Math.max(Math.min(low, tall - box.offsetHeight), Math.min(y - box.offsetHeight - over, high))}px`;
}
