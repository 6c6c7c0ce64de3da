// The ground: the site in metres, north up. Spots and walls are placed by touch; drag a spot, and what links have in hand
// is told beside the finger. The picture has its key at its foot; no name leaves it or covers another.
import { svg as make } from "./lib/canvas.js";
import { gestures, newest, pin } from "./lib/gesture.js";
import { widthOf } from "./lib/flags.js";
import { getJson, getText, post, upload } from "./lib/net.js";
import { answer } from "./lib/parts.js";
import { say } from "./lib/status.js";
import { button, row } from "./lib/table.js";
import { did, may } from "./page.js";

const section = document.querySelector(".ground"), svg = document.getElementById("ground");
const beside = document.getElementById("beside"), naming = document.getElementById("naming"), scaling = document.getElementById("scale");
let site = null, mode = "move", view = null, wallFrom = null, held = null, walking = null, mapOn = false, bands = null, foot = 0, cross = null;
const name = section?.dataset.site, readout = document.getElementById("readout"), linkChoice = document.getElementById("link");
const feet = () => document.getElementById("length").value === "ft";
const length = (m) => (feet() ? `${(m / 0.3048).toFixed(1)} ft` : `${m.toFixed(1)} m`);
async function load() {
  try {
    const told = await getJson(`/api/ground/site?site=${encodeURIComponent(name)}`, { as: "site" });
    if (!told || held) return;
    site = told;
  } catch (error) { say(error.message); return; }
  if (!view) { all(); drawKey(); foot = drawKey()[1]; all(); }
  moved(); margins(site.margins); table(); levels(); answer(site.answer);
}

function all() {
  const at = [...site.spots.map((spot) => [spot.x_m, spot.y_m]), ...site.walls.flatMap((wall) => [wall.from, wall.to])].filter((point) => point && point.every(Number.isFinite));
  const xs = at.map((point) => point[0]), ys = at.map((point) => point[1]);
  const [left, right, low, high] = at.length ? [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)] : [-20, 20, -15, 15];
  const wide = svg.clientWidth, tall = svg.clientHeight - (foot || 60), room = 60;
  view = { x: (left + right) / 2, y: (low + high) / 2, span: Math.max((right - left) * (wide / (wide - 2 * room)), (high - low) * (wide / (tall - 2 * room)), 10) };
}
const scale = () => svg.clientWidth / view.span;
const tall = () => svg.clientHeight - foot;
const px = (x) => svg.clientWidth / 2 + (x - view.x) * scale();
const py = (y) => tall() / 2 - (y - view.y) * scale();
const metres = (event) => {
  const box = svg.getBoundingClientRect();
  return [view.x + (event.clientX - box.left - svg.clientWidth / 2) / scale(), view.y - (event.clientY - box.top - tall() / 2) / scale()];
};
const tenths = (event) => metres(event).map((metre) => Math.round(metre * 10) / 10);
const el = (tag, of, ...inside) => make(tag, of, ...inside);
const words = (x, y, text, more = {}) => el("text", { x, y, ...more }, text);

// Signs, the same on the ground and in its key.
const SIGNS = {
  spot: (x, y) => el("rect", { class: "sign", x: x - 7, y: y - 7, width: 14, height: 14, rx: 3 }),
  antenna: (x, y) => el("path", { class: "sign mast", d: `M${x} ${y + 9}v-18M${x - 9} ${y - 9}h18` }),
  other: (x, y) => el("path", { class: "other", d: `M${x} ${y - 9}l9 9l-9 9l-9 -9z` }),
  wall: (x, y) => el("path", { class: "wall", d: `M${x - 10} ${y}h20` }),
  route: (x, y) => el("path", { class: "route", d: `M${x - 11} ${y}h22` }),
  body: (x, y) => el("circle", { class: "body", cx: x, cy: y, r: 7 }),
};
const seen = (at) => px(at.x_m) > 0 && px(at.x_m) < svg.clientWidth && py(at.y_m) > 0 && py(at.y_m) < tall();
const shade = (share) => `color-mix(in srgb, var(--ink) ${100 * share}%, var(--sheet))`;
function key() {
  const antennas = site.spots.some((spot) => listens().has(spot.name));
  const signs = [site.spots.length > 1 && ["spot", "spot"], antennas && ["antenna", "antennas"], site.links.some((link) => link.route.length > 1) && ["route", "route"], site.walls.length && ["wall", "wall"], site.others.some((other) => other.at && seen(other.at)) && ["other", "somebody else"], walking && ["body", "talent"]].filter(Boolean).map(([kind, says]) => [(x, y) => SIGNS[kind](x + 11, y), says]);
  if (mapOn) {
    signs.push([(x, y) => el("rect", { class: "swatch", fill: "url(#unreached)", x, y: y - 8, width: 22, height: 16 }), "short"]);
    site.bands.forEach(([from, share], n) => signs.push([(x, y) => el("rect", { class: "swatch", fill: shade(share), x, y: y - 8, width: 22, height: 16 }), n + 1 < site.bands.length ? `from ${from}` : `${from} dB and more`]));
  }
  return signs;
}
/** @returns {[any[], number, number]} */
function drawKey() {
  const step = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000].find((metre) => metre * scale() > 60) || 2000, bar = step * scale(), says = length(step);
  const parts = [];
  let x = 14 + bar + 12 + widthOf(says) + 26, y = 20;
  const first = [el("path", { class: "rule", d: `M14 ${y}h${bar}m0 -6v12m${-bar} 0v-12` }), words(14 + bar + 10, y + 5, says)];
  for (const [sign, text] of /** @type {any[][]} */ ([[(at) => el("path", { class: "rule", d: `M${at + 11} ${y + 9}v-18m-6 8l6 -8l6 8` }), "north"], ...key()])) {
    const wide = 30 + widthOf(text) + 20;
    if (x + wide > svg.clientWidth) { x = 14; y += 26; }
    parts.push(sign(x, y), words(x + 30, y + 5, text));
    x += wide;
  }
  return [[...first, ...parts], y + 18, step];
}

// Names beside their marks: the first place that is inside the picture and free, else further off with a line.
function names(marks) {
  const taken = marks.map((mark) => [mark.x - 9, mark.y - 9, mark.x + 9, mark.y + 9]), parts = [];
  const inside = (box) => box[0] > 3 && box[2] < svg.clientWidth - 3 && box[1] > 3 && box[3] < tall() - 3;
  const free = (box) => !taken.some((other) => box[0] < other[2] && box[2] > other[0] && box[1] < other[3] && box[3] > other[1]);
  for (const mark of marks) {
    const wide = widthOf(mark.name), tries = [];
    for (let away = 0; away < 12; away += 1) {
      const by = away ? 12 + 18 * away : 0;
      for (const [dx, dy] of away ? [[14, -by], [14, by], [-14 - wide, -by], [-14 - wide, by]] : [[14, 5], [-14 - wide, 5], [-wide / 2, -15], [-wide / 2, 25]]) tries.push({ x: mark.x + dx, y: mark.y + dy, away });
    }
    const boxOf = (at) => [at.x - 2, at.y - 14, at.x + wide + 2, at.y + 5];
    const at = tries.find((of) => inside(boxOf(of)) && free(boxOf(of))) || tries.find((of) => free(boxOf(of))) || tries[0];
    if (!inside([mark.x, mark.y, mark.x, mark.y])) continue;
    taken.push(boxOf(at));
    if (at.away) parts.push(el("line", { class: "leader", x1: mark.x, y1: mark.y, x2: Math.max(at.x, Math.min(mark.x, at.x + wide)), y2: at.y - 5 }));
    parts.push(words(at.x, at.y, mark.name));
  }
  return parts;
}
function listens() {
  const names = new Set(site.links.map((link) => link.at).filter(Boolean));
  if (!names.size && site.spots.length) names.add(site.spots[0].name);
  return names;
}

function draw() {
  const focused = document.activeElement?.dataset?.spot;  // whoever works by keys stays where they are
  const [keys, keyTall, step] = drawKey(), parts = [];
  foot = keyTall;
  if (site.picture) {
    const wide = site.picture_m * scale();
    parts.push(el("image", { href: site.picture, x: px(0) - wide / 2, y: py(0) - wide / 2, width: wide, height: wide, opacity: 0.45, preserveAspectRatio: "xMidYMid meet" }));
  }
  if (mapOn && bands) {
    const { left, right, low, high } = bands.of;
    for (const [name, value] of Object.entries({ x: px(left), y: py(high), width: (right - left) * scale(), height: (high - low) * scale() })) bands.svg.setAttribute(name, value);
    parts.push(bands.svg);
  }
  for (let x = Math.ceil((view.x - view.span) / step) * step; x < view.x + view.span; x += step) parts.push(el("line", { class: "grid", x1: px(x), x2: px(x), y1: 0, y2: tall() }));
  for (let y = Math.ceil((view.y - view.span) / step) * step; y < view.y + view.span; y += step) parts.push(el("line", { class: "grid", y1: py(y), y2: py(y), x1: 0, x2: svg.clientWidth }));
  for (const wall of site.walls) if (wall.from && wall.to) parts.push(el("line", { class: "wall", x1: px(wall.from[0]), y1: py(wall.from[1]), x2: px(wall.to[0]), y2: py(wall.to[1]) }, el("title", {}, `wall of ${wall.material || "something"}`)));
  if (wallFrom) parts.push(SIGNS.wall(px(wallFrom[0]), py(wallFrom[1])));
  const chosen = linkChoice.value, spots = new Map(site.spots.map((spot) => [spot.name, spot])), antennas = listens(), routes = new Map();
  for (const link of site.links) {
    const route = (!chosen || link.name === chosen ? link.route : []).map((name) => spots.get(name)).filter(Boolean);
    if (route.length > 1) routes.set(route.map((spot) => `${px(spot.x_m)},${py(spot.y_m)}`).join(" "), [...(routes.get(route) || []), link.name]);
  }
  for (const [points, who] of routes) parts.push(el("polyline", { class: "route", points }, el("title", {}, `route of ${who.join(", ")}`)));
  const others = site.others.filter((other) => other.at && seen(other.at));
  for (const other of others) parts.push(SIGNS.other(px(other.at.x_m), py(other.at.y_m)));
  for (const spot of site.spots) {
    const [x, y] = [px(spot.x_m), py(spot.y_m)];
    const group = el("g", { class: `spot${held === spot ? " held" : ""}`, tabindex: 0, role: "button", "data-spot": spot.id, "aria-label": `${spot.name}, ${length(spot.x_m)} east, ${length(spot.y_m)} north. Arrow keys move it.` });
    group.append(el("circle", { class: "hit", cx: x, cy: y, r: 22 }), SIGNS[antennas.has(spot.name) ? "antenna" : "spot"](x, y));
    group.addEventListener("keydown", (event) => nudge(event, spot));
    parts.push(group);
  }
  parts.push(...names([...site.spots.map((spot) => ({ x: px(spot.x_m), y: py(spot.y_m), name: spot.name || "spot" })), ...others.map((other) => ({ x: px(other.at.x_m), y: py(other.at.y_m), name: other.name || "somebody" }))]));
  if (walking) parts.push(SIGNS.body(px(walking.x), py(walking.y)));
  if (cross) parts.push(el("path", { class: "cross", d: `M${px(cross[0]) - 14} ${py(cross[1])}h28m-14 -14v28` }));
  const strip = el("g", { transform: `translate(0 ${tall()})` }, el("rect", { class: "strip", width: svg.clientWidth, height: foot }), ...keys);
  svg.setAttribute("viewBox", `0 0 ${svg.clientWidth} ${svg.clientHeight}`);
  svg.replaceChildren(hatches(), ...parts, strip);
  if (focused) svg.querySelector(`[data-spot="${CSS.escape(focused)}"]`)?.focus({ preventScroll: true });
}
function hatches() { return el("defs", {}, el("pattern", { id: "unreached", width: 8, height: 8, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, el("line", { class: "hatch-madder", y2: 8 }))); }

// What a link has in hand over the ground, for the piece that is seen: one question at a time, always the newest.
const mapped = newest(async (of) => {
  const text = await getText(`/ground/map.svg?${new URLSearchParams({ site: name, ...of })}`, { as: "map" }).catch((error) => { say(error.message); return null; });
  if (!text) return;
  const drawn = document.importNode(new DOMParser().parseFromString(text, "image/svg+xml").documentElement, true);
  drawn.querySelector("defs")?.remove();  // its hatching is ours
  bands = { of, svg: drawn };
  draw();
});
let later = null;
function remap() {
  if (!mapOn || !linkChoice.value) return;
  clearTimeout(later);
  const half = tall() / scale() / 2;
  later = setTimeout(() => mapped({ link: linkChoice.value, left: metresAt(0), right: metresAt(1), low: view.y - half, high: view.y + half }), 150);
}
function moved() { draw(); remap(); }
const metresAt = (share) => view.x + (share - 0.5) * view.span;

function hold(event, spot) {
  if (may !== "edit" || mode !== "move") return null;
  held = spot; spot.was = [spot.x_m, spot.y_m];
  return spot;
}
// A route is the spots of the chosen link, touched one after the other; touching the last one again takes it off.
async function choose(spot) {
  const link = site.links.find((link) => link.name === linkChoice.value);
  if (!link) { say("Choose a link first."); linkChoice.focus(); return; }
  await change(async () => {
    if (mode === "antenna") {
      return post("/api/field", { path: ["link", link.id, "at"], seen: JSON.stringify(link.at ?? null), text: spot.name }, { what: `the antennas of ${link.name}` });
    }
    const route = link.route[link.route.length - 1] === spot.name ? link.route.slice(0, -1) : [...link.route, spot.name];
    return post("/api/field", { path: ["link", link.id, "route"], seen: JSON.stringify(link.route.length ? link.route : null), text: route.length ? JSON.stringify(route) : "" }, { what: `the route of ${link.name}` });
  });
  const now = site.links.find((link) => link.name === linkChoice.value);
  readout.textContent = mode === "antenna" ? `${now.name} is received at ${now.at}.` : `${now.name} walks ${now.route.join(", ") || "nowhere in particular"}.`;
}
const stepOf = (event) => ({ ArrowLeft: [-0.5, 0], ArrowRight: [0.5, 0], ArrowUp: [0, 0.5], ArrowDown: [0, -0.5] })[event.key]?.map((metre) => metre * (event.shiftKey ? 10 : 1));
async function nudge(event, spot) {
  event.stopPropagation();
  if (event.key === "Enter" || event.key === " ") { event.preventDefault(); await touch(spot); return; }
  const by = stepOf(event);
  if (!by || may !== "edit") return;
  event.preventDefault();
  spot.was = [spot.x_m, spot.y_m];
  spot.x_m += by[0]; spot.y_m += by[1];
  await follow(spot);
  await keep(spot);
}
// A spot that is touched is the one at which a level is read; else what the chosen tool does with it.
async function touch(spot) {
  if (mode !== "move") { await choose(spot); return; }
  if (!levelForm) return;
  levelForm.elements.spot.value = spot.name;
  readout.textContent = `${spot.name}: ${length(spot.x_m)} east, ${length(spot.y_m)} north. A level read here can be typed below.`;
}
async function keep(spot) {
  const path = ["site", site.id, "spots", spot.id];
  try {
    for (const [n, key] of [[0, "x_m"], [1, "y_m"]]) {
      const value = Math.round(spot[key] * 10) / 10;
      if (value !== spot.was[n]) did(await post("/api/field", { path: [...path, key], seen: JSON.stringify(spot.was[n]), text: String(value) }, { what: `the place of ${spot.name}` }));
      spot[key] = value;
    }
  } catch (error) { say(error.message); }
  draw(); table();
}

// What everybody has in hand while a spot is dragged: told beside it, one question at a time, always the newest.
const follow = newest(async (spot) => {
  const told = await getJson(`/api/ground/margins?${new URLSearchParams({ site: name, spot: spot.name, x: spot.x_m, y: spot.y_m })}`).catch(() => null);
  if (told) { margins(told.margins); tellBeside(spot, told.margins); }
});
const BESIDE = 5;
function tellBeside(spot, list = []) {
  const head = document.createElement("strong"), before = new Map(site.margins.map((margin) => [`${margin.call} ${margin.link}`, margin]));
  head.textContent = `${spot.name}: ${length(spot.x_m)} east, ${length(spot.y_m)} north`;
  const changed = list.filter((margin) => { const was = before.get(`${margin.call} ${margin.link}`); return !was || Math.abs(was.in_hand - margin.in_hand) >= 0.05; });
  const shown = (changed.length ? changed : list).sort((a, b) => a.in_hand - b.in_hand).slice(0, BESIDE), rest = list.length - shown.length;
  const ul = document.createElement("ul");
  ul.className = "hands"; ul.append(...shown.map(hand));
  const more = document.createElement("p");
  more.textContent = rest ? `${rest} more in the list` : "";
  beside.replaceChildren(head, ul, ...(rest ? [more] : []));
  pin(beside, px(spot.x_m), py(spot.y_m), 26);
}
const short = (db) => (db < 0 ? `short by ${(-db).toFixed(1)} dB` : `${db.toFixed(1)} dB in hand`);
function hand(margin) {
  const li = document.createElement("li"), disc = document.createElement("span");
  disc.className = `disc ${margin.verdict}`;
  const parts = [margin.link, several() ? `${margin.at}, ${margin.call}` : margin.at, short(margin.in_hand)].map((text, n) => { const made = document.createElement(n === 2 ? "b" : "span"); made.textContent = text; return made; });
  parts[0].prepend(disc);
  const word = document.createElement("span");
  word.className = "unseen"; word.textContent = margin.verdict;
  li.append(...parts, word);
  return li;
}
const several = () => new Set(site.margins.map((margin) => margin.call)).size > 1;

let placed = null;  // where a spot is to be that has no name yet
async function place(at) {  // a touch on the ground, or Enter at the cross [m]
  if (mode === "spot" && naming) {
    placed = at; naming.elements.name.value = "";
    pin(naming, px(at[0]), py(at[1]));
    naming.elements.name.focus({ preventScroll: true });
  } else if (mode === "wall") {
    if (!wallFrom) { wallFrom = at; readout.textContent = "Now the other end of the wall."; draw(); return; }
    const begin = wallFrom; wallFrom = null; readout.textContent = "";
    await change(() => post("/api/entry", { path: ["site", site.id, "walls"], value: { material: document.getElementById("material").value, from: begin, to: at } }, { what: "the wall" }));
  }
}
naming?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const given = naming.elements.name.value.trim(), [x_m, y_m] = placed;
  if (!given) return;
  await change(() => post("/api/entry", { path: ["site", site.id, "spots"], value: { name: given, x_m, y_m } }, { what: `the spot ${given}` }));
  leave();
});
const leave = () => { naming.hidden = true; placed = null; if (cross) svg.focus({ preventScroll: true }); };
naming?.querySelector("[data-leave]").addEventListener("click", leave);
naming?.addEventListener("keydown", (event) => { if (event.key === "Escape") leave(); });
// By keys: the arrows move a cross over the ground, Enter is a touch there.
svg?.addEventListener("keydown", async (event) => {
  const by = stepOf(event), near = { "+": 0.7, "=": 0.7, "-": 1.4 }[event.key];
  if (!site || !(by || near || (event.key === "Enter" && cross) || event.key === "Escape")) return;
  event.preventDefault();
  if (near) { view.span *= near; moved(); } else if (event.key === "Enter") await place(cross);
  else {
    const from = cross || [view.x, view.y].map(Math.round);
    cross = by ? [from[0] + by[0], from[1] + by[1]] : null;
    if (cross && !seen({ x_m: cross[0], y_m: cross[1] })) [view.x, view.y] = cross;
    if (cross) readout.textContent = `${length(cross[0])} east, ${length(cross[1])} north`;
    moved();
  }
});
const spotAt = (event) => { const group = event.target.closest(".spot"); return group && site.spots.find((spot) => spot.id === group.dataset.spot); };
if (svg) gestures(svg, {
  down: (event) => { if (!site) return null; const spot = spotAt(event); beside.hidden = true; cross = null; return spot ? { spot, held: hold(event, spot) } : {}; },
  tap: (event, grip) => { if (grip.spot) touch(grip.spot); else place(tenths(event)); },
  drag: (event, by, far, grip) => {
    if (grip.held) {
      if (far <= 6) return;
      [held.x_m, held.y_m] = tenths(event);
      draw(); follow(held);
      if (beside.hidden) tellBeside(held); else pin(beside, px(held.x_m), py(held.y_m), 26);
    } else if (far > 6 && event.pointerType === "mouse") { view.x -= by[0] / scale(); view.y += by[1] / scale(); moved(); }
  },
  pinch: (times, _at, by) => { if (held) return; view.span /= times; view.x -= by[0] / scale(); view.y += by[1] / scale(); moved(); },
  up: async (event, far, grip) => { if (!grip?.held || !held) return; const spot = held; held = null; if (far > 6) await keep(spot); else draw(); },
  cancel: () => { if (held) { [held.x_m, held.y_m] = held.was; held = null; beside.hidden = true; draw(); } },
  wheel: (way) => { view.span *= way > 0 ? 1.2 : 0.83; moved(); },
});
async function change(does) { try { did(await does()); await load(); } catch (error) { say(error.message); } }

function margins(list) {
  const rows = [...list].sort((a, b) => a.in_hand - b.in_hand).map(hand);
  if (!rows.length) { const li = document.createElement("li"); li.textContent = "The plan is not there yet."; rows.push(li); }
  document.getElementById("margins").replaceChildren(...rows);
}
const levelForm = document.getElementById("level");
function levels() {
  const heads = ["Link", "Spot", "Level, dBm", "Watched", ""];
  const rows = (site.levels || []).map((level) => {
    const tr = row([level.link, level.spot, Number(level.dbm).toFixed(1), level.seconds ? `${level.seconds} s` : "one look", ""], heads, { numbers: ["Level, dBm"] });
    if (levelForm) {
      const remove = button("Remove");
      remove.addEventListener("click", () => change(() => post("/api/remove", { path: ["site", site.id, "measured_level", level.id], revision: site.revision }, { what: "a level read here" })));
      tr.lastElementChild.append(remove);
    }
    return tr;
  });
  document.getElementById("levels").replaceChildren(...rows);
  document.getElementById("levels-table").hidden = !rows.length;
  const spot = levelForm?.elements.spot;
  if (spot) { const chosen = spot.value; spot.replaceChildren(...site.spots.map((spot) => new Option(spot.name))); if (chosen) spot.value = chosen; }
}
levelForm?.addEventListener("submit", (event) => {
  event.preventDefault();
  const { link, spot, dbm, seconds, facing } = levelForm.elements;
  const value = { link: link.value, spot: spot.value, dbm: Number(dbm.value), seconds: Number(seconds.value) };
  if (facing.value) value.facing = facing.value;
  const power = site.margins.find((margin) => margin.link === value.link)?.power_mw;  // at which it is sent now
  if (power) value.power_mw = power;
  change(() => post("/api/entry", { path: ["site", site.id, "measured_level"], value }, { what: `the level of ${value.link} at ${value.spot}` }));
});
function table() {
  const heads = ["Spot", "East", "North", "Up"];
  document.getElementById("spots").replaceChildren(...site.spots.map((spot) => row([spot.name || "", length(spot.x_m), length(spot.y_m), length(spot.z_m ?? 1.5)], heads, { numbers: heads.slice(1) })));
}

for (const button of document.querySelectorAll("[data-mode]")) button.addEventListener("click", () => {
  mode = button.dataset.mode; wallFrom = null;
  for (const other of document.querySelectorAll("[data-mode]")) other.setAttribute("aria-pressed", String(other === button));
});
for (const button of document.querySelectorAll(".ground [data-zoom]")) button.addEventListener("click", () => { if (button.dataset.zoom === "all") all(); else view.span *= button.dataset.zoom === "in" ? 0.7 : 1.4; moved(); });
document.getElementById("site")?.addEventListener("change", (event) => { location.search = `?site=${encodeURIComponent(event.target.value)}`; });
linkChoice?.addEventListener("change", () => { bands = null; moved(); });
document.getElementById("length")?.addEventListener("change", () => { draw(); table(); });
document.getElementById("map")?.addEventListener("click", (event) => {
  if (!linkChoice.value && site.margins.length) linkChoice.value = site.margins[0].link;
  mapOn = !mapOn; event.target.setAttribute("aria-pressed", String(mapOn)); moved();
});
document.getElementById("play")?.addEventListener("click", async () => {
  const link = linkChoice.value || site.margins[0]?.link;
  if (!link) return;
  const told = await getJson(`/api/ground/along?${new URLSearchParams({ site: name, link })}`).catch((error) => { say(error.message); return null; });
  if (!told) return;
  const last = told.time_s[told.time_s.length - 1], begun = performance.now(), FASTER = 4;
  const step = (now) => {
    const at = ((now - begun) / 1000) * FASTER;
    if (at >= last) { walking = null; beside.hidden = true; draw(); return; }
    let i = told.time_s.findIndex((time_) => time_ >= at);
    if (i < 0) i = 0;
    walking = { x: told.x_m[i], y: told.y_m[i] };
    beside.textContent = `${link}, ${told.time_s[i].toFixed(0)} s on the way: ${short(told.in_hand_db[i])}`;
    draw(); pin(beside, px(walking.x), py(walking.y)); requestAnimationFrame(step);
  };
  requestAnimationFrame(step);
});
const chosenPicture = document.getElementById("picture");
chosenPicture?.addEventListener("change", () => { scaling.hidden = false; scaling.elements.wide.select(); });
scaling?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const wide = Number(scaling.elements.wide.value.replace(",", ".")), file = chosenPicture.files[0];
  if (!(wide > 0)) { say("How wide is the picture on the ground, in metres? Expected a number such as 60."); return; }
  const data = new FormData();
  data.append("file", file, `${site.id}: ${wide} m wide: ${file.name}`); data.append("use", "picture");
  scaling.hidden = true; chosenPicture.value = "";
  await change(() => upload("/api/attach", data));
});
if (svg) {
  addEventListener("resize", () => { if (site) moved(); });
  document.fonts?.ready.then(() => { if (site) draw(); });
  for (const what of ["lw:plan", "lw:changed"]) document.body.addEventListener(what, () => { if (!held) load(); });
  load();
}
