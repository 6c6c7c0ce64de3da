// Drawing: in the page's own inks, sharp on every screen.
export const ink = () => { const style = getComputedStyle(document.documentElement); return (name) => style.getPropertyValue(`--${name}`).trim(); };

// A pen for a canvas of so many pixels of the page; the canvas is made as fine as the screen.
export function penOf(canvas, wide = canvas.clientWidth, tall = canvas.clientHeight) {
  const scale = devicePixelRatio || 1;
  if (canvas.width !== Math.round(wide * scale) || canvas.height !== Math.round(tall * scale)) {
    canvas.width = Math.round(wide * scale); canvas.height = Math.round(tall * scale);
  }
  const pen = canvas.getContext("2d");
  pen.setTransform(scale, 0, 0, scale, 0, 0);
  return pen;
}

export function hatch(context, colour) {
  const tile = document.createElement("canvas");
  tile.width = tile.height = 8;
  const pen = tile.getContext("2d");
  pen.strokeStyle = colour; pen.lineWidth = 1.4;
  pen.beginPath(); pen.moveTo(-2, 10); pen.lineTo(10, -2); pen.moveTo(-2, 2); pen.lineTo(2, -2); pen.moveTo(6, 10); pen.lineTo(10, 6); pen.stroke();
  return context.createPattern(tile, "repeat");
}

const NS = "http://www.w3.org/2000/svg";
export function svg(tag, attributes, ...inside) {
  const made = document.createElementNS(NS, tag);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...inside);
  return made;
}

// The width of a box that is drawn into, and a call where that has changed.
export const width = (box, least = 300, most = 1400) => Math.max(least, Math.min(most, Math.floor(box.clientWidth || 720)));
export function onWidth(box, does) { let last = width(box); addEventListener("resize", () => { if (width(box) !== last) { last = width(box); does(); } }); }
