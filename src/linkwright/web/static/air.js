// The score: lanes under one another on one frequency axis, one cursor through all of them.
import { gestures } from "./lib/gesture.js";
import { hatch, ink, penOf } from "./lib/canvas.js";
import { get, getJson } from "./lib/net.js";
import { files, send } from "./lib/send.js";
import { say } from "./lib/status.js";
import { row } from "./lib/table.js";
import "./page.js";

const section = document.querySelector(".score"), canvas = document.getElementById("score");
const site = section?.dataset.site;
let lanes = null, levels = null, fall = null, over = false;
let from = Number(section?.dataset.from), to = Number(section?.dataset.to), cursor = null;
const LEFT = () => (canvas.clientWidth < 600 ? 12 : 130);
const TALL = { measured: 210, rules: 40, tv: 40, others: 40, found: 46, products: 36, ours: 96 };
const NAMES = { measured: "Measured", rules: "May be used", tv: "TV", others: "Others", found: "Carriers found", products: "Products", ours: "Ours" };
const ORDER = ["measured", "rules", "tv", "others", "found", "products", "ours"];
const GAP = 22, FOOT = 34;

const mhz = (khz) => (khz / 1000).toFixed(3);
const x = (khz) => LEFT() + ((khz - from) / (to - from)) * (canvas.clientWidth - LEFT() - 10);
const khzAt = (px) => from + ((px - LEFT()) / (canvas.clientWidth - LEFT() - 10)) * (to - from);

async function load() {
  try {
    const told = await getJson(`/api/air/lanes?site=${encodeURIComponent(site)}`, { as: "lanes" });
    if (!told) return;
    lanes = told;
  } catch (error) { say(error.message); return; }
  table();
  await measure();
}

async function measure() {
  const columns = Math.max(50, Math.min(4096, Math.round(canvas.clientWidth - LEFT() - 10)));
  const query = `site=${encodeURIComponent(site)}&low=${from}&high=${to}&columns=${columns}`;
  const response = await get(`/api/air/levels?${query}`, { as: "levels" });
  if (!response) return;
  levels = { from, to, columns, values: new Float32Array(await response.arrayBuffer()) };
  if (over) {
    const second = await get(`/api/air/waterfall?${query}&rows=120`, { as: "fall" });
    if (!second) return;
    fall = { from, to, columns, rows: Number(second.headers.get("x-rows")), cells: new Uint8Array(await second.arrayBuffer()) };
  }
  draw();
}

function draw() {
  if (!lanes || !canvas.clientWidth) return;
  const wide = canvas.clientWidth, tall = ORDER.reduce((sum, name) => sum + TALL[name] + GAP, FOOT);
  canvas.style.height = `${tall}px`;
  const pen = penOf(canvas, wide, tall), of = ink();
  pen.fillStyle = of("sheet"); pen.fillRect(0, 0, wide, tall);
  pen.font = '16px "Linkwright Sans", sans-serif'; pen.textBaseline = "alphabetic";
  grid(pen, of, tall);
  let top = 8;
  for (const name of ORDER) {
    pen.fillStyle = of("soft");
    if (LEFT() > 50) { pen.textAlign = "left"; pen.fillText(NAMES[name], 10, top + 22); }
    else { pen.textAlign = "left"; pen.fillText(NAMES[name], 14, top + 14); }
    const y = LEFT() > 50 ? top : top + 16;
    LANES[name](pen, of, y, TALL[name] - (y - top));
    top += TALL[name] + GAP;
    pen.strokeStyle = of("line"); pen.lineWidth = 1;
    pen.beginPath(); pen.moveTo(0, top - GAP / 2 + 0.5); pen.lineTo(wide, top - GAP / 2 + 0.5); pen.stroke();
  }
  if (cursor !== null) {
    const at = x(cursor);
    pen.strokeStyle = of("ochre"); pen.lineWidth = 2;
    pen.beginPath(); pen.moveTo(at, 4); pen.lineTo(at, tall - FOOT + 4); pen.stroke();
  }
}

function grid(pen, of, tall) {
  const span = (to - from) / 1000, most = Math.max(2, Math.floor((canvas.clientWidth - LEFT()) / 90));
  let step = 10 ** Math.floor(Math.log10(span / most));
  for (const times of [1, 2, 5, 10]) if (span / (step * times) <= most) { step *= times; break; }
  pen.strokeStyle = of("line"); pen.fillStyle = of("ink"); pen.lineWidth = 1; pen.textAlign = "center";
  for (let at = Math.ceil(from / 1000 / step) * step; at <= to / 1000; at += step) {
    const px = Math.round(x(at * 1000)) + 0.5;
    pen.beginPath(); pen.moveTo(px, 4); pen.lineTo(px, tall - FOOT + 4); pen.stroke();
    if (px > LEFT() + 18 && px < canvas.clientWidth - 24) pen.fillText(String(+at.toFixed(3)), px, tall - 12);
  }
  pen.fillStyle = of("soft"); pen.textAlign = "left"; pen.fillText("MHz", 6, tall - 12);
}

const LANES = {
  measured(pen, of, top, tall) {
    if (!levels) return;
    const n = levels.columns, low = levels.values.subarray(0, n), high = levels.values.subarray(n, 2 * n), floor = levels.values.subarray(2 * n);
    let bottom = Infinity, most = -Infinity;
    for (let i = 0; i < n; i += 1) { if (low[i] < bottom) bottom = low[i]; if (high[i] > most) most = high[i]; }
    const width = (x(levels.to) - x(levels.from)) / n, first = x(levels.from);
    pen.fillStyle = hatch(pen, of("line"));
    for (let i = 0; i < n; i += 1) if (Number.isNaN(low[i])) pen.fillRect(first + i * width, top, Math.ceil(width), tall);
    if (bottom === Infinity) { pen.fillStyle = of("soft"); pen.fillText("nothing was looked at here", LEFT() + 8, top + tall / 2); return; }
    bottom -= 2; most = Math.max(most + 2, bottom + 10);
    const y = (db) => top + ((most - db) / (most - bottom)) * tall;
    if (over && fall && fall.rows) { waterfall(pen, of, top, tall); return; }
    pen.fillStyle = of("ink");
    for (let i = 0; i < n; i += 1) if (!Number.isNaN(low[i])) {
      const upper = y(high[i]);
      pen.fillRect(first + i * width, upper, Math.max(1, width), Math.max(1, y(low[i]) - upper));
    }
    pen.fillStyle = of("ochre");
    for (let i = 0; i < n; i += 1) if (!Number.isNaN(floor[i])) pen.fillRect(first + i * width, y(floor[i]) - 1, Math.max(1, width), 2);
    pen.fillStyle = of("soft"); pen.textAlign = "right";
    const labels = LEFT() > 50 ? [[most - 4, top + 44], [bottom + 1, top + tall]] : [];
    for (const [db, at] of labels) pen.fillText(`${db.toFixed(0)} ${lanes.unit}`, LEFT() - 8, at);
  },
  rules(pen, of, top, tall) {
    bands(pen, lanes.allowed, top, tall, of("line"), of("ink"));
    pen.fillStyle = hatch(pen, of("madder"));
    for (const one of lanes.closed) pen.fillRect(x(one.from), top, Math.max(2, x(one.to) - x(one.from)), tall);
  },
  tv(pen, of, top, tall) { bands(pen, lanes.tv, top, tall, hatch(pen, of("ink")), of("ink")); },
  others(pen, of, top, tall) { bands(pen, lanes.others, top, tall, of("soft"), of("ink")); },
  found(pen, of, top, tall) {
    pen.fillStyle = of("ink");
    for (const one of lanes.carriers) if (one.khz > from && one.khz < to) {
      const height = Math.min(tall, 6 + one.over), wide = Math.max(2, x(one.khz + one.width / 2) - x(one.khz - one.width / 2));
      pen.fillRect(x(one.khz) - wide / 2, top + tall - height, wide, height);
    }
  },
  products(pen, of, top, tall) {
    pen.fillStyle = of("ochre");
    for (const khz of lanes.products) if (khz > from && khz < to) pen.fillRect(x(khz) - 0.5, top, 1, tall);
  },
  ours(pen, of, top, tall) {
    let taken = [];
    const shown = lanes.ours.filter((one) => one.khz > from && one.khz < to).sort((a, b) => Number(a.spare) - Number(b.spare));
    for (const one of shown) {
      const at = x(one.khz), head = one.spare ? top + tall * 0.62 : top + 38;
      pen.strokeStyle = of("ink"); pen.lineWidth = 1.6;
      pen.beginPath(); pen.moveTo(at, top + tall); pen.lineTo(at, head); pen.stroke();
      pen.beginPath(); pen.arc(at, head, 6, 0, 7); pen.fillStyle = one.spare ? of("sheet") : of("ink"); pen.fill(); pen.stroke();
      if (one.spare) continue;
      const wide = pen.measureText(one.label).width, left = Math.min(Math.max(at - wide / 2, LEFT()), canvas.clientWidth - wide - 4);
      for (const row of [head - 12, head - 28]) {
        if (taken.some(([l, r, y]) => y === row && left < r + 6 && left + wide > l - 6)) continue;
        taken.push([left, left + wide, row]);
        pen.fillStyle = of("ink"); pen.textAlign = "left"; pen.fillText(one.label, left, row);
        break;
      }
    }
  },
};

function bands(pen, list, top, tall, fill, text) {
  for (const one of list) {
    const left = x(one.from), wide = Math.max(2, x(one.to) - left);
    if (left > canvas.clientWidth || left + wide < LEFT()) continue;
    pen.fillStyle = fill; pen.fillRect(Math.max(left, LEFT()), top, left + wide - Math.max(left, LEFT()), tall);
    pen.strokeStyle = text; pen.lineWidth = 1; pen.strokeRect(Math.max(left, LEFT()), top + 0.5, left + wide - Math.max(left, LEFT()), tall - 1);
    const size = pen.measureText(one.label || "").width;
    if (one.label && wide > size + 12) {
      const middle = Math.max(left, LEFT()) + (left + wide - Math.max(left, LEFT())) / 2;
      pen.fillStyle = ink()("sheet"); pen.fillRect(middle - size / 2 - 4, top + tall / 2 - 11, size + 8, 22);
      pen.fillStyle = text; pen.textAlign = "center"; pen.fillText(one.label, middle, top + tall / 2 + 6);
    }
  }
}

function waterfall(pen, of, top, tall) {
  const image = new ImageData(fall.columns, fall.rows), [r, g, b] = rgb(of("ink"));
  for (let i = 0; i < fall.cells.length; i += 1) { image.data[4 * i] = r; image.data[4 * i + 1] = g; image.data[4 * i + 2] = b; image.data[4 * i + 3] = fall.cells[i]; }
  const sheet = document.createElement("canvas");
  sheet.width = fall.columns; sheet.height = fall.rows;
  sheet.getContext("2d").putImageData(image, 0, 0);
  pen.imageSmoothingEnabled = false;
  pen.drawImage(sheet, x(fall.from), top, x(fall.to) - x(fall.from), tall);
}
const rgb = (hex) => [1, 3, 5].map((at) => parseInt(hex.slice(at, at + 2), 16));

function table() {
  const rows = [
    ...lanes.allowed.map((one) => ["may be used", one.from, one.to, one.says]), ...lanes.closed.map((one) => ["closed", one.from, one.to, one.says]),
    ...lanes.tv.map((one) => ["TV", one.from, one.to, one.says]), ...lanes.others.map((one) => ["other", one.from, one.to, one.says]),
    ...lanes.carriers.map((one) => ["carrier found", one.khz - one.width / 2, one.khz + one.width / 2, one.says]),
    ...lanes.ours.map((one) => [one.spare ? "our spare" : "ours", one.khz, one.khz, one.says]),
  ];
  const heads = ["What", "From, MHz", "To, MHz", "Says"], numbers = heads.slice(1, 3);
  const shown = rows.map((cells) => row(cells.map((cell) => (typeof cell === "number" ? mhz(cell) : cell)), heads, { numbers }));
  document.getElementById("lane-rows").replaceChildren(...shown);
}

// One cursor: pointed at, touched or moved with the keys; what stands under it is read out.
function point(khz) {
  cursor = Math.min(to, Math.max(from, Math.round(khz / 25) * 25));
  const inside = (list) => list.filter((one) => one.from <= cursor && cursor <= one.to).map((one) => one.says);
  const near = (to - from) / 300;
  const parts = [`${mhz(cursor)} MHz`];
  if (levels) {
    const i = Math.floor(((cursor - levels.from) / (levels.to - levels.from)) * levels.columns), n = levels.columns;
    const high = levels.values[n + i];
    parts.push(Number.isFinite(high) ? `up to ${high.toFixed(0)} ${lanes.unit}, floor ${levels.values[2 * n + i].toFixed(0)}` : "not looked at");
  }
  parts.push(...inside(lanes.closed), ...inside(lanes.tv), ...inside(lanes.others), ...inside(lanes.allowed));
  if (inside(lanes.clean).length) parts.push("clean as far as it was looked at");
  parts.push(...lanes.carriers.filter((one) => Math.abs(one.khz - cursor) < Math.max(near, one.width / 2)).map((one) => `carrier ${mhz(one.khz)}: ${one.says}`));
  if (lanes.products.some((one) => Math.abs(one - cursor) < 150)) parts.push("a third-order product of ours falls here");
  parts.push(...lanes.ours.filter((one) => Math.abs(one.khz - cursor) < near).map((one) => `${mhz(one.khz)}: ${one.says}`));
  document.getElementById("readout").textContent = parts.join(" · ");
  document.getElementById("why-mhz").value = mhz(cursor);
  draw();
}

function zoom(times, about) {
  const at = about ?? cursor ?? (from + to) / 2, whole = Number(section.dataset.to) - Number(section.dataset.from);
  const span = Math.min(whole, Math.max(500, (to - from) * times)), share = (at - from) / (to - from);
  show(at - share * span, span);
}
function show(start, span) {
  const first = Number(section.dataset.from), last = Number(section.dataset.to);
  from = Math.max(first, Math.min(last - span, start)); to = from + span;
  draw(); later();
}
let waiting = null;
function later() { clearTimeout(waiting); waiting = setTimeout(measure, 120); }

if (canvas) {
  const left = () => canvas.getBoundingClientRect().left;
  gestures(canvas, {
    hover: (event) => { if (lanes) point(khzAt(event.offsetX)); },
    tap: (event) => { if (lanes) point(khzAt(event.offsetX)); },
    drag: (event, by, moved) => { if (lanes && moved > 6) show(from - (by[0] / (canvas.clientWidth - LEFT() - 10)) * (to - from), to - from); },
    pinch: (times, x) => zoom(1 / times, khzAt(x - left())),
    wheel: (way, event) => zoom(way > 0 ? 1.25 : 0.8, khzAt(event.offsetX)),
  });
  canvas.addEventListener("keydown", (event) => {
    const step = event.shiftKey ? (to - from) / 20 : Math.max(25, (to - from) / 400), now = cursor ?? (from + to) / 2;
    const does = { ArrowLeft: () => point(now - step), ArrowRight: () => point(now + step), Home: () => point(from), End: () => point(to), "+": () => zoom(0.5), "=": () => zoom(0.5), "-": () => zoom(2) }[event.key];
    if (does && lanes) { event.preventDefault(); does(); if (cursor < from || cursor > to) show(cursor - (to - from) / 2, to - from); }
  });
  for (const one of document.querySelectorAll("[data-zoom]")) one.addEventListener("click", () => ({ in: () => zoom(0.5), out: () => zoom(2), all: () => show(Number(section.dataset.from), Number(section.dataset.to) - Number(section.dataset.from)) })[one.dataset.zoom]());
  document.getElementById("waterfall").addEventListener("click", (event) => { over = !over; event.target.setAttribute("aria-pressed", String(over)); measure(); });
  addEventListener("resize", later);
  document.body.addEventListener("lw:ground", draw);
  document.body.addEventListener("lw:plan", load);
  load();
}

document.getElementById("site")?.addEventListener("change", (event) => { location.search = `?site=${encodeURIComponent(event.target.value)}`; });

// Files: several at once.
const into = () => section?.dataset.siteId || "";
async function take(files, use) {
  const done = await Promise.all([...files].map((file) => send("/api/attach", file, { site: into(), use })));
  if (done.some(Boolean)) setTimeout(() => location.reload(), 1200);
}
document.getElementById("stations")?.addEventListener("change", (event) => take(event.target.files, "stations"));
files("sweeps", (chosen) => take(chosen, "sweeps"));
