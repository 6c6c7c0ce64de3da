// The score: lanes under one another on one frequency axis, one cursor through all of them. Levels are painted on a canvas,
// everything else is drawn over it, in the page's own inks, so that it can be read, measured and printed.
import { ink, penOf, svg as make } from "./lib/canvas.js";
import { flags, rowsOf, widthOf } from "./lib/flags.js";
import { gestures, pin } from "./lib/gesture.js";
import { get, getJson } from "./lib/net.js";
import { files, send } from "./lib/send.js";
import { say } from "./lib/status.js";
import { row } from "./lib/table.js";
import "./page.js";

const about = document.getElementById("air"), section = document.querySelector(".score");
const picture = document.getElementById("score"), canvas = document.getElementById("levels"), readout = document.getElementById("readout");
const site = about.dataset.site;
let lanes = null, levels = null, fall = null, over = false, measuredAt = null, look = "kept", chosen = false;
const swept = () => Boolean(lanes.sweeps || lanes.live), unit = () => (look === "kept" ? lanes.unit : look === "share" ? "%" : lanes.live?.unit || lanes.unit);
const first = Number(section?.dataset.from), last = Number(section?.dataset.to);
let from = first, to = last, cursor = null;
const HIGH = 190, BAND = 26, GAP = 20, FOOT = 30, STEM = 34, ROW = 18;

const narrow = () => picture.clientWidth < 600;
const LEFT = () => (narrow() ? 10 : 130), RIGHT = () => picture.clientWidth - 10;
const mhz = (khz) => (khz / 1000).toFixed(3);
const number = (value, digits = 0) => value.toFixed(digits).replace("-", "−");
const x = (khz) => LEFT() + ((khz - from) / (to - from)) * (RIGHT() - LEFT());
const khzAt = (px) => from + ((px - LEFT()) / (RIGHT() - LEFT())) * (to - from);
const shown = (band) => band.to > from && band.from < to;

async function load() {
  try {
    const told = await getJson(`/api/air/lanes?site=${encodeURIComponent(site)}`, { as: "lanes" });
    if (!told) return;
    lanes = told;
    if (!chosen) look = lanes.live ? "now" : "kept";
    if (look !== "kept" && !lanes.live) look = "kept";
    looks();
  } catch (error) { say(error.message); return; }
  table();
  await measure();
}

async function measure() {
  if (lanes && !swept()) { draw(); return; }
  const columns = Math.max(50, Math.min(4096, Math.round(RIGHT() - LEFT())));
  const query = `site=${encodeURIComponent(site)}&low=${from}&high=${to}&columns=${columns}&look=${look}`;
  const response = await get(`/api/air/levels?${query}`, { as: "levels" });
  if (!response) return;
  levels = { from, to, columns, values: new Float32Array(await response.arrayBuffer()) };
  if (over) {
    const second = await get(`/api/air/waterfall?${query}&rows=120`, { as: "fall" });
    if (!second) return;
    fall = { from, to, columns, rows: Number(second.headers.get("x-rows")), begin: second.headers.get("x-begin"), end: second.headers.get("x-end"), cells: new Uint8Array(await second.arrayBuffer()) };
  }
  draw();
}

// Which look is drawn; the buttons stand there while a live sweep comes.
function looks() {
  document.getElementById("looks").hidden = !lanes.live;
  document.getElementById("waterfall").hidden = !swept();
  for (const button of document.querySelectorAll("[data-look]")) { button.setAttribute("aria-pressed", String(button.dataset.look === look)); button.hidden = button.dataset.look === "kept" && !lanes.sweeps; }
}
// How old the look is grows between two of them.
setInterval(() => {
  for (const cell of document.querySelectorAll("[data-looked]")) {
    cell.dataset.since = cell.dataset.since || String(performance.now());
    const s = Number(cell.dataset.looked) + (performance.now() - Number(cell.dataset.since)) / 1000;
    cell.textContent = s < 90 ? `${s.toFixed(0)} s` : `${Math.floor(s / 60)} min`;
  }
}, 1000);

const el = (tag, of, ...inside) => make(tag, of, ...inside.map((child) => (typeof child === "string" ? document.createTextNode(child) : child)));
const words = (at, y, text, more = {}) => el("text", { x: at, y, ...more }, text);
const titled = (part, says) => { part.append(el("title", {}, says || "")); return part; };

// What a lane is: its name, how tall it is, and its parts from a top downwards.
function bandLane(name, kind, list) {
  if (!list.length) return null;
  const visible = list.filter(shown).map((band) => ({ ...band, left: Math.max(LEFT(), x(band.from)), right: Math.min(RIGHT(), Math.max(x(band.to), x(band.from) + 2)) }));
  const inside = (band) => band.label && widthOf(band.label) + 12 < band.right - band.left;
  const beside = flags(visible.filter((band) => band.label && !inside(band)).map((band) => ({ x: (band.left + band.right) / 2, label: band.label })), LEFT(), RIGHT());
  const rows = rowsOf(beside);
  return {
    name, tall: rows * ROW + BAND,
    draw: (top) => {
      const foot = top + rows * ROW, parts = flagged(beside, foot - 4, foot);
      for (const band of visible) {
        const part = titled(el("g", {}), band.says);
        part.append(el("rect", { class: `band ${band.kind || kind}`, x: band.left, y: foot, width: band.right - band.left, height: BAND }));
        if (inside(band)) { const wide = widthOf(band.label), at = (band.left + band.right) / 2; part.append(el("rect", { class: "under", x: at - wide / 2 - 4, y: foot + 3, width: wide + 8, height: BAND - 6 }), words(at, foot + 18, band.label, { class: "middle" })); }
        parts.push(part);
      }
      return parts;
    },
  };
}
// Labels over marks, with the lines up to them.
function flagged(placed, base, foot) {
  return placed.flatMap((flag) => [el("line", { class: "leader", x1: flag.x, x2: flag.x, y1: foot, y2: base - flag.row * ROW + 3 }), words(flag.left, base - flag.row * ROW, flag.label)]);
}
function pinLane(name, list, tall) {
  if (!list.length) return null;
  const visible = list.filter((pin) => pin.khz > from && pin.khz < to);
  const placed = flags(visible.map((pin) => ({ x: x(pin.khz), label: pin.label })), LEFT(), RIGHT()), rows = Math.max(1, rowsOf(placed));
  return {
    name, tall: rows * ROW + tall,
    draw: (top) => {
      const foot = top + rows * ROW + tall, head = foot - tall + 10;
      return [...flagged(placed, head - 12, head), ...visible.map((pin) => titled(el("g", { class: "pin" }, el("line", { x1: x(pin.khz), x2: x(pin.khz), y1: head, y2: foot }), mark(pin.head, x(pin.khz), head)), pin.says))];
    },
  };
}
// Verdicts are discs; a spare is a lozenge.
function mark(kind, at, y, r = 5.5) {
  const part = el("g", { class: `mark ${kind}` });
  if (kind === "spare") part.append(el("path", { d: `M${at} ${y - r - 1}l${r + 1} ${r + 1}l${-r - 1} ${r + 1}l${-r - 1} ${-r - 1}z` }));
  else part.append(el("circle", { cx: at, cy: y, r }));
  if (kind === "thin") part.append(el("path", { class: "half", d: `M${at} ${y - r}a${r} ${r} 0 0 0 0 ${2 * r}z` }));
  if (kind === "fails") part.append(el("line", { x1: at - r - 2, y1: y + r + 2, x2: at + r + 2, y2: y - r - 2 }));
  return part;
}
function lineLane(name, tall, path, kind) { return path && { name, tall, draw: (top) => [el("path", { class: kind, d: path(top) })] }; }

function all() {
  const inView = lanes.carriers.filter((carrier) => carrier.khz > from && carrier.khz < to), seen = [...new Set(lanes.products.filter((product) => product > from && product < to).map((product) => Math.round(x(product))))];
  const carriers = lanes.ours.filter((carrier) => carrier.head !== "spare"), spares = lanes.ours.filter((carrier) => carrier.head === "spare");
  return [
    swept() ? { name: over ? "Over time" : { now: "Now", highest: "Highest", share: "On the air" }[look] || "Measured", tall: HIGH, draw: measured } : null,
    bandLane("May be used", "open", [...lanes.allowed, ...lanes.closed.map((band) => ({ ...band, kind: "closed" }))]),
    bandLane("TV", "doubt", lanes.tv.filter((band) => band.to > first && band.from < last)),
    bandLane("Others", "solid", lanes.others.filter((other) => other.to > first && other.from < last)),
    lineLane("Carriers found", 40, lanes.carriers.length && ((top) => inView.map((carrier) => { const tall = Math.min(40, 6 + carrier.over), wide = Math.max(2, x(carrier.khz + carrier.width / 2) - x(carrier.khz - carrier.width / 2)); return `M${x(carrier.khz) - wide / 2} ${top + 40}v${-tall}h${wide}v${tall}z`; }).join("")), "found"),
    lineLane("Products", 28, lanes.products.length && ((top) => seen.map((at) => `M${at} ${top}v28`).join("")), "products"),
    pinLane("Ours", carriers, STEM), pinLane("Spares", spares, STEM - 8),
  ].filter(Boolean);
}

const KEYS = () => [
  swept() && !over && look !== "share" && [(at, y) => el("path", { class: "floor", d: `M${at} ${y}h18` }), "floor of the sweep"],
  swept() && [(at, y) => el("rect", { class: "unlooked", x: at, y: y - 8, width: 18, height: 16 }), "nobody looked"],
  lanes.ours.some((carrier) => carrier.head !== "spare") && [(at, y) => mark("holds", at + 9, y), "holds"],
  lanes.ours.some((carrier) => carrier.head === "thin") && [(at, y) => mark("thin", at + 9, y), "thin"],
  lanes.ours.some((carrier) => carrier.head === "fails") && [(at, y) => mark("fails", at + 9, y), "fails"],
  lanes.ours.some((carrier) => carrier.head === "spare") && [(at, y) => mark("spare", at + 9, y), "spare"],
  lanes.closed.length && [(at, y) => el("rect", { class: "band closed", x: at, y: y - 8, width: 18, height: 16 }), "closed"],
].filter(Boolean);
function key(top) {
  const parts = [];
  let at = 10, y = top + 16;
  for (const [sign, says] of /** @type {any[][]} */ (KEYS())) {
    const wide = 26 + widthOf(says) + 20;
    if (at > 10 && at + wide > picture.clientWidth) { at = 10; y += 24; }
    parts.push(sign(at, y), words(at + 26, y + 5, says, { class: "soft" }));
    at += wide;
  }
  return [parts, y + 16];
}

function draw() {
  if (!lanes || !picture.clientWidth) return;
  const wide = picture.clientWidth, parts = [], shownLanes = all(), head = narrow() ? 20 : 0;
  let top = 10;
  const places = shownLanes.map((lane) => { const at = top; top += head + lane.tall + GAP; return at; });
  const foot = top - GAP / 2, under = el("g", {});
  parts.push(under);
  shownLanes.forEach((lane, n) => {
    const at = places[n];
    if (n) parts.push(el("line", { class: "grid", x1: 0, x2: wide, y1: at - GAP / 2, y2: at - GAP / 2 }));
    parts.push(words(10, at + 15, lane.name, { class: "soft" }));
    parts.push(...lane.draw(at + head));
  });
  const [keys, tall] = key(foot + FOOT);
  axis(under, parts, foot);
  parts.push(...keys);
  if (cursor !== null) parts.push(el("line", { class: "cursor", x1: x(cursor), x2: x(cursor), y1: 4, y2: foot }));
  picture.setAttribute("viewBox", `0 0 ${wide} ${tall}`);
  picture.style.height = `${tall}px`;
  picture.replaceChildren(hatches(), ...parts);
  if (measuredAt === null || !swept()) { canvas.height = 0; return; }
  paint();
}
function hatches() {
  const pattern = (id, kind, apart) => el("pattern", { id, width: apart, height: apart, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, el("line", { class: kind, y2: apart }));
  return el("defs", {}, pattern("score-doubt", "hatch-ink", 6), pattern("score-closed", "hatch-madder", 6), pattern("score-unlooked", "hatch-soft", 8));
}
function axis(under, parts, foot) {
  const span = (to - from) / 1000, most = Math.max(2, Math.floor((RIGHT() - LEFT()) / 80));
  let step = 10 ** Math.floor(Math.log10(span / most));
  for (const times of [1, 2, 5, 10]) if (span / (step * times) <= most) { step *= times; break; }
  parts.push(el("line", { class: "axis", x1: LEFT(), x2: RIGHT(), y1: foot, y2: foot }), words(narrow() ? RIGHT() - 32 : 10, foot + 20, "MHz", { class: "soft" }));
  for (let at = Math.ceil(from / 1000 / step) * step; at <= to / 1000; at += step) {
    const px = x(at * 1000), text = String(+at.toFixed(3)), half = widthOf(text) / 2;
    under.append(el("line", { class: "grid", x1: px, x2: px, y1: 4, y2: foot }));
    parts.push(el("line", { class: "axis", x1: px, x2: px, y1: foot, y2: foot + 5 }));
    if (px - half > (narrow() ? 2 : LEFT() - 4) && px + half < RIGHT() - (narrow() ? 40 : -6)) parts.push(words(px, foot + 20, text, { class: "middle" }));
  }
}

// The lane of the sweep: its hatching and scale are drawn, its levels painted.
let scale = null;
function measured(top) {
  measuredAt = top;
  const parts = [], inside = { class: "on-sheet" }, left = { class: "soft end" };
  if (!levels) return parts;
  const n = levels.columns, low = levels.values.subarray(0, n), high = levels.values.subarray(n, 2 * n);
  let bottom = Infinity, most = -Infinity, begun = -1;
  const step = (x(levels.to) - x(levels.from)) / n, at = (i) => x(levels.from) + i * step;
  for (let i = 0; i <= n; i += 1) {
    if (i < n && low[i] < bottom) bottom = low[i];
    if (i < n && high[i] > most) most = high[i];
    const blind = i < n && Number.isNaN(low[i]);
    if (blind && begun < 0) begun = i;
    if (!blind && begun >= 0) { if ((i - begun) * step > 3) parts.push(titled(el("rect", { class: "unlooked", x: at(begun), y: top, width: at(i) - at(begun), height: HIGH }), "nobody looked here")); begun = -1; }
  }
  scale = bottom === Infinity ? null : look === "share" ? { bottom: -2, most: 102 } : { bottom: bottom - 2, most: Math.max(most + 2, bottom + 8) };
  if (!scale) return [...parts, words(LEFT() + 8, top + HIGH / 2, "nobody looked here", inside)];
  const label = (text, y) => parts.push(narrow() ? words(LEFT() + 4, y, text, inside) : words(LEFT() - 8, y, text, left));
  if (over && fall?.rows) {
    const many = lanes.seconds ? lanes.seconds : fall.rows, unit = lanes.seconds ? "s" : "sweeps";
    if (fall.begin) [[fall.begin, 0], [fall.end, 1]].forEach(([text, share]) => label(text, top + (narrow() ? 14 : 38) + share * (HIGH - (narrow() ? 18 : 40))));
    else for (const share of [0, 0.5, 1]) label(`${share ? number(many * share) : 0} ${unit}`, top + (narrow() ? 14 : 38) + share * (HIGH - (narrow() ? 18 : 40)));
  } else {
    label(`${number(scale.most - 2)} ${unit()}`, top + (narrow() ? 14 : 38));
    label(`${number(scale.bottom + 2)} ${unit()}`, top + HIGH - 2);
  }
  return parts;
}
function paint(inks = null) {
  const pen = penOf(canvas, picture.clientWidth, measuredAt + HIGH), of = inks || ink();
  canvas.style.height = `${measuredAt + HIGH}px`;
  pen.clearRect(0, 0, picture.clientWidth, measuredAt + HIGH);
  if (!levels || !scale) return;
  if (over && fall?.rows) { waterfall(pen, of); return; }
  const n = levels.columns, step = (x(levels.to) - x(levels.from)) / n, y = (db) => measuredAt + ((scale.most - db) / (scale.most - scale.bottom)) * HIGH;
  const [low, high, floor] = [0, 1, 2].map((part) => levels.values.subarray(part * n, (part + 1) * n));
  pen.save(); pen.beginPath(); pen.rect(LEFT(), measuredAt, RIGHT() - LEFT(), HIGH); pen.clip();
  pen.fillStyle = of("ink");
  for (let i = 0; i < n; i += 1) if (!Number.isNaN(low[i])) pen.fillRect(x(levels.from) + i * step, y(high[i]), Math.max(1, step), Math.max(1, y(low[i]) - y(high[i])));
  pen.fillStyle = of("ochre");
  for (let i = 0; i < n; i += 1) if (!Number.isNaN(floor[i])) pen.fillRect(x(levels.from) + i * step, y(floor[i]) - 1, Math.max(1, step), 2);
  pen.restore();
}
function waterfall(pen, of) {
  const image = new ImageData(fall.columns, fall.rows), [r, g, b] = [1, 3, 5].map((at) => parseInt(of("ink").slice(at, at + 2), 16));
  for (let i = 0; i < fall.cells.length; i += 1) { image.data[4 * i] = r; image.data[4 * i + 1] = g; image.data[4 * i + 2] = b; image.data[4 * i + 3] = fall.cells[i]; }
  const sheet = document.createElement("canvas");
  sheet.width = fall.columns; sheet.height = fall.rows;
  sheet.getContext("2d").putImageData(image, 0, 0);
  pen.imageSmoothingEnabled = false;
  pen.drawImage(sheet, x(fall.from), measuredAt, x(fall.to) - x(fall.from), HIGH);
}
const PRINTED = (name) => ({ ink: "#000000", ochre: "#7a7a7a" })[name];

function table() {
  const rows = [
    ...lanes.allowed.map((band) => ["may be used", band.from, band.to, band.says]), ...lanes.closed.map((band) => ["closed", band.from, band.to, band.says]),
    ...lanes.tv.map((band) => ["TV", band.from, band.to, band.says]), ...lanes.others.map((other) => ["other", other.from, other.to, other.says]),
    ...lanes.carriers.map((carrier) => ["carrier found", carrier.khz - carrier.width / 2, carrier.khz + carrier.width / 2, carrier.says]),
    ...lanes.ours.map((carrier) => [carrier.head === "spare" ? "our spare" : "ours", carrier.khz, carrier.khz, carrier.says]),
  ];
  const heads = ["What", "From, MHz", "To, MHz", "Says"], numbers = heads.slice(1, 3);
  const told = rows.map((cells) => row(cells.map((cell) => (typeof cell === "number" ? mhz(cell) : cell)), heads, { numbers }));
  document.getElementById("lane-rows").replaceChildren(...told);
}

// One cursor: pointed at, touched or moved with the keys; what stands under it is read out beside it.
function told() {
  const inside = (list) => list.filter((band) => band.from <= cursor && cursor <= band.to).map((band) => band.says);
  const near = Math.max(40, (to - from) / 300), parts = [];
  if (levels) {
    const n = levels.columns, i = Math.min(n - 1, Math.floor(((cursor - levels.from) / (levels.to - levels.from)) * n)), high = levels.values[n + i];
    parts.push(Number.isFinite(high) ? (look === "share" ? `on the air in ${number(high)} % of the looks` : `up to ${number(high)} ${unit()}, floor ${number(levels.values[2 * n + i])}`) : "nobody looked here");
  }
  parts.push(...lanes.ours.filter((carrier) => Math.abs(carrier.khz - cursor) < near).map((carrier) => carrier.says), ...inside(lanes.closed), ...inside(lanes.tv), ...inside(lanes.others));
  parts.push(...lanes.carriers.filter((carrier) => Math.abs(carrier.khz - cursor) < Math.max(near, carrier.width / 2)).map((carrier) => `found at ${mhz(carrier.khz)}: ${carrier.says}`));
  if (lanes.products.some((product) => Math.abs(product - cursor) < 150)) parts.push("a third-order product of ours falls here");
  if (inside(lanes.clean.map((band) => ({ ...band, says: "clean" }))).length) parts.push("clean as far as it was swept");
  parts.push(inside(lanes.allowed)[0] || "may not be used by any kit here");
  return parts;
}
function point(khz, y = null) {
  cursor = Math.min(to, Math.max(from, Math.round(khz / 25) * 25));
  const head = document.createElement("strong"), rest = told();
  head.textContent = `${mhz(cursor)} MHz`;
  readout.replaceChildren(head, ...rest.map((text) => { const p = document.createElement("p"); p.textContent = text; return p; }));
  document.getElementById("why-mhz").value = mhz(cursor);
  draw();
  pin(readout, x(cursor), y ?? 24);
}

function zoom(times, about) {
  const at = about ?? cursor ?? (from + to) / 2, span = Math.min(last - first, Math.max(500, (to - from) * times)), share = (at - from) / (to - from);
  show(at - share * span, span);
}
function show(start, span) {
  from = Math.max(first, Math.min(last - span, start)); to = from + span;
  if (cursor !== null && (cursor < from || cursor > to)) { cursor = null; readout.hidden = true; }
  draw(); later();
  if (cursor !== null) pin(readout, x(cursor), readout.offsetTop);
}
let waiting = null;
function later() { clearTimeout(waiting); waiting = setTimeout(measure, 120); }

if (picture) {
  const at = (event) => { const box = picture.getBoundingClientRect(); return [khzAt(event.clientX - box.left), event.clientY - box.top]; };
  gestures(picture, {
    hover: (event) => { if (lanes) point(...at(event)); },
    tap: (event) => { if (lanes) point(...at(event)); },
    drag: (event, by, moved) => { if (!lanes || moved <= 6) return; if (event.pointerType === "mouse") show(from - (by[0] / (RIGHT() - LEFT())) * (to - from), to - from); else point(...at(event)); },
    pinch: (times, [px], [by]) => { if (!lanes) return; const box = picture.getBoundingClientRect(); zoom(1 / times, khzAt(px - box.left)); show(from - (by / (RIGHT() - LEFT())) * (to - from), to - from); },
    wheel: (way, event) => zoom(way > 0 ? 1.25 : 0.8, at(event)[0]),
  });
  picture.addEventListener("keydown", (event) => {
    const step = event.shiftKey ? (to - from) / 20 : Math.max(25, (to - from) / 400), now = cursor ?? (from + to) / 2;
    const does = { ArrowLeft: () => point(now - step), ArrowRight: () => point(now + step), Home: () => point(from), End: () => point(to), "+": () => zoom(0.5), "=": () => zoom(0.5), "-": () => zoom(2), Escape: () => { cursor = null; readout.hidden = true; draw(); } }[event.key];
    if (does && lanes) { event.preventDefault(); does(); }
  });
  for (const button of document.querySelectorAll("[data-zoom]")) button.addEventListener("click", () => ({ in: () => zoom(0.5), out: () => zoom(2), all: () => show(first, last - first) })[button.dataset.zoom]());
  document.getElementById("waterfall")?.addEventListener("click", (event) => { over = !over; event.target.setAttribute("aria-pressed", String(over)); measure(); });
  addEventListener("resize", () => { draw(); later(); });
  addEventListener("beforeprint", () => { if (lanes && swept()) paint(PRINTED); });
  addEventListener("afterprint", draw);
  document.body.addEventListener("lw:ground", draw);
  document.fonts?.ready.then(draw);
  document.body.addEventListener("lw:plan", load);
  for (const button of document.querySelectorAll("[data-look]")) button.addEventListener("click", () => { look = button.dataset.look; chosen = true; looks(); measure(); });
  document.body.addEventListener("lw:air", () => { if (!lanes?.live) load(); else if (look !== "kept") measure(); });
  load();
}

document.getElementById("site")?.addEventListener("change", (event) => { location.search = `?site=${encodeURIComponent(event.target.value)}`; });

// Files: several at once, sweeps by dropping too.
async function take(chosen, url, fields) {
  const done = await Promise.all([...chosen].map((file) => send(url, file, fields)));
  if (done.some(Boolean)) setTimeout(() => location.reload(), 1500);
}
const into = about.dataset.siteId;
document.getElementById("stations")?.addEventListener("change", (event) => take(event.target.files, "/api/attach", { site: into, use: "stations" }));
document.getElementById("theirs")?.addEventListener("change", async (event) => { for (const file of event.target.files) await send("/sheets/neighbours", file, {}); });
files("sweeps", (chosen) => take(chosen, "/api/attach", { site: into, use: "sweeps" }));
