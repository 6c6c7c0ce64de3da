// Fingers, mouse and wheel on a picture: drag, pinch, tap, turn. Each is told in pixels of the page.
/** @param {HTMLElement} on
 * @param {{tap?: Function, drag?: Function, pinch?: Function, wheel?: Function, hover?: Function, down?: Function, up?: Function, cancel?: Function}} told */
export function gestures(on, { tap, drag, pinch, wheel, hover, down, up, cancel }) {
  const held = new Map();
  let moved = 0, apart = 0, grip = null;
  on.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    grip = down ? down(event) : true;
    if (!grip) return;
    on.setPointerCapture(event.pointerId);
    held.set(event.pointerId, [event.clientX, event.clientY]); moved = 0; apart = 0;
  });
  on.addEventListener("pointermove", (event) => {
    if (!held.size) { if (event.pointerType === "mouse") hover?.(event); return; }
    const before = held.get(event.pointerId);
    if (!before) return;
    const by = [event.clientX - before[0], event.clientY - before[1]];
    moved += Math.abs(by[0]) + Math.abs(by[1]);
    held.set(event.pointerId, [event.clientX, event.clientY]);
    if (held.size === 2 && pinch) {
      const [a, b] = [...held.values()], now = Math.abs(a[0] - b[0]);
      if (apart && now > 10) pinch(apart / now, (a[0] + b[0]) / 2);
      apart = now; moved = 99;
    } else if (held.size === 1) drag?.(event, by, moved, grip);
  });
  on.addEventListener("pointerup", (event) => { if (!held.delete(event.pointerId)) return; apart = 0; if (moved <= 6) tap?.(event, grip); up?.(event, moved, grip); });
  on.addEventListener("pointercancel", (event) => { if (held.delete(event.pointerId)) { apart = 0; cancel?.(event, grip); } });
  if (wheel) on.addEventListener("wheel", (event) => { event.preventDefault(); wheel(event.deltaY > 0 ? 1 : -1, event); }, { passive: false });
}

// One question at a time, always the newest: for what follows a finger.
export function newest(does) {
  let wanted = null, busy = false;
  return async (what) => {
    wanted = what;
    if (busy) return;
    busy = true;
    try { while (wanted) { const one = wanted; wanted = null; await does(one); } } finally { busy = false; }
  };
}
