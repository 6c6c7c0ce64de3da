// Lines of text: [words, left, top, right, bottom, size px, layer, how it is cut or "", colour]. A box is the line's middle
// part, from about the height of small letters with their ascenders down to the baseline.
const measure = ([within, pictures]) => {
  const roots = [...document.querySelectorAll(within)], found = [], layers = new Map([[null, 0]]);
  const fixed = (one) => { for (; one && one !== document.body; one = one.parentElement) if (["fixed", "sticky"].includes(getComputedStyle(one).position)) return one; return null; };
  const layerOf = (one) => { const at = fixed(one); if (!layers.has(at)) layers.set(at, layers.size); return layers.get(at); };
  const seen = (one) => {
    if (!one.checkVisibility({ opacityProperty: true, visibilityProperty: true })) return false;
    for (let at = one; at && at !== document.body; at = at.parentElement) if (getComputedStyle(at).clipPath === "inset(50%)") return false;
    return true;
  };
  // Boxes that cut what stands in them; whoever scrolls cuts nothing.
  const cutBy = (one, box) => {
    for (let at = one; at && at !== document.documentElement; at = at.parentElement) {
      const style = getComputedStyle(at), over = at.getBoundingClientRect();
      const svg = at.tagName === "svg" && at !== one;
      for (const [way, low, high] of [["overflowX", box.left < over.left - 1, box.right > over.right + 1], ["overflowY", box.top < over.top - 1, box.bottom > over.bottom + 1]]) {
        if (["auto", "scroll"].includes(style[way])) return box.top > over.bottom - 1 || box.bottom < over.top + 1 || box.left > over.right - 1 || box.right < over.left + 1 ? "away" : "";
        if (["hidden", "clip"].includes(style[way]) && (low || high) && (svg || (at instanceof HTMLElement && style.display !== "inline"))) return `cut by ${at.tagName.toLowerCase()}${at.className?.baseVal ?? at.className ? "." + String(at.className?.baseVal ?? at.className).split(" ")[0] : ""}`;
      }
    }
    if (box.right < 0) return "";  // kept for whoever comes by keys
    if (box.right > document.documentElement.clientWidth + 1 || box.left < -1) return "off the page";
    return "";
  };
  const line = (text, box, size, of) => {
    const tall = box.bottom - box.top, middle = (box.top + box.bottom) / 2, half = Math.min(tall, size) * 0.36;
    const kept = { left: box.left, right: box.right, top: middle - half, bottom: middle + half };
    const cut = cutBy(of, kept);
    if (cut === "away") return;  // scrolled out of its list
    found.push([text, kept.left, kept.top + scrollY, kept.right, kept.bottom + scrollY, size, layerOf(of), cut, of instanceof SVGElement ? getComputedStyle(of).fill : getComputedStyle(of).color]);
  };
  for (const root of roots) {
    const walk = document.createTreeWalker(root, NodeFilter.SHOW_TEXT);
    for (let node = walk.nextNode(); node; node = walk.nextNode()) {
      const of = node.parentElement, text = node.data.trim().replace(/\s+/g, " ");
      if (!text || !of || of.closest("option, title, desc, script, style, template, defs") || !seen(of)) continue;
      const inSvg = of instanceof SVGElement;
      if (pictures && !inSvg) continue;
      const matrix = inSvg ? of.getScreenCTM() : null, size = parseFloat(getComputedStyle(of).fontSize) * (matrix ? Math.hypot(matrix.b, matrix.d) : 1);
      const range = document.createRange();
      range.selectNodeContents(node);
      const boxes = [...range.getClientRects()].filter((box) => box.width > 1 && box.height > 1);
      for (const box of boxes) line(text, box, size, of);
    }
    for (const field of root.querySelectorAll("input, select, textarea")) {
      if (pictures || !seen(field) || ["checkbox", "radio", "file", "hidden", "range"].includes(field.type)) continue;
      const style = getComputedStyle(field), text = field.tagName === "SELECT" ? field.selectedOptions[0]?.textContent || "" : field.value || field.placeholder || "";
      const pen = document.createElement("canvas").getContext("2d");
      pen.font = `${style.fontStyle} ${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
      const room = field.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight) - (field.tagName === "SELECT" && style.appearance !== "none" ? 16 : 0);
      const box = field.getBoundingClientRect(), wide = field.tagName === "TEXTAREA" ? 0 : pen.measureText(text).width;
      if (!box.width) continue;
      const before = found.length;
      line(text || "(field)", { left: box.left, right: box.right, top: box.top, bottom: box.bottom }, parseFloat(style.fontSize), field);
      if (wide > room + 1 && found.length > before) found[found.length - 1][7] = "cut by its field";
    }
  }
  return found;
};

// The boxes of marks, with room round them, and their colours: of strokes, else fills, else borders, else grounds.
const marks = (within) => [...document.querySelectorAll(within)].filter((one) => one.checkVisibility()).map((one) => {
  const style = getComputedStyle(one), box = one.getBoundingClientRect();
  const drawn = one instanceof SVGElement ? [style.stroke, style.fill] : [style.borderTopStyle === "none" ? "" : style.borderTopColor, style.backgroundColor];
  const name = `${one.tagName.toLowerCase()}.${one.className.baseVal ?? one.className}`;
  const room = 3 + (one instanceof SVGElement ? parseFloat(style.strokeWidth) || 0 : 0);
  return [name, box.left - room, box.top - room + scrollY, box.right + room, box.bottom + room + scrollY, drawn.find((of) => /^rgb/.test(of)) || "rgb(0, 0, 0)"];
});

// Contrast of a colour with what is about it in a picture of the page: the commonest other colour of its box.
const contrast = async ([png, boxes]) => {
  const image = await createImageBitmap(await (await fetch(`data:image/png;base64,${png}`)).blob());
  const canvas = new OffscreenCanvas(image.width, image.height), pen = canvas.getContext("2d", { willReadFrequently: true });
  pen.drawImage(image, 0, 0);
  const part = (one) => { const share = one / 255; return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4; };
  const light = (rgb) => 0.2126 * part(rgb[0]) + 0.7152 * part(rgb[1]) + 0.0722 * part(rgb[2]);
  const against = (a, b) => (Math.max(light(a), light(b)) + 0.05) / (Math.min(light(a), light(b)) + 0.05);
  return boxes.map(([left, from, right, to, colour]) => {
    const x = Math.max(0, Math.floor(left)), y = Math.max(0, Math.floor(from)), wide = Math.min(image.width - x, Math.ceil(right) - x), tall = Math.min(image.height - y, Math.ceil(to) - y);
    if (wide < 2 || tall < 2) return null;
    const data = pen.getImageData(x, y, wide, tall).data, many = new Map();
    for (let i = 0; i < data.length; i += 4) { const key = `${data[i]},${data[i + 1]},${data[i + 2]}`; many.set(key, (many.get(key) || 0) + 1); }
    const [r, g, b, alpha = 1] = colour.match(/[\d.]+/g).map(Number);
    const colours = [...many].sort((one, other) => other[1] - one[1]).map(([key, times]) => [key.split(",").map(Number), times]);
    const ground = (colours.find(([rgb, times]) => times > 0.08 * wide * tall && against(rgb, [r, g, b]) > 1.2) || colours[0])[0];
    return against(ground, [r, g, b].map((one, n) => alpha * one + (1 - alpha) * ground[n]));
  });
};

// Takes what stays in sight while the page scrolls out of the picture, or gives it back; nothing moves for it.
const staying = (away) => {
  for (const one of document.body.querySelectorAll("*")) {
    if (!["fixed", "sticky"].includes(getComputedStyle(one).position)) continue;
    if (away) one.style.setProperty("visibility", "hidden", "important"); else one.style.removeProperty("visibility");
  }
};

// What a grey picture of the page shows over and left, and under and right of the middle of each box: true for ink.
const grey = async ([png, boxes, ink, ground]) => {
  const image = await createImageBitmap(await (await fetch(`data:image/png;base64,${png}`)).blob());
  const canvas = new OffscreenCanvas(image.width, image.height), pen = canvas.getContext("2d", { willReadFrequently: true });
  pen.filter = "grayscale(1)";
  pen.drawImage(image, 0, 0);
  const luma = (of) => { pen.fillStyle = of; pen.fillRect(0, 0, 1, 1); return pen.getImageData(0, 0, 1, 1).data[0]; };
  const [dark, light] = [ink, ground].map(luma);
  return boxes.map(([left, top, right, bottom]) => [0.33, 0.67].map((share) => {
    const at = pen.getImageData(Math.round(left + share * (right - left)), Math.round(top + share * (bottom - top)), 1, 1).data[0];
    return Math.abs(at - dark) < Math.abs(at - light);
  }));
};
