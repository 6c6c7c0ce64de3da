// The ground: the site in metres, north up. Spots and walls are placed by touch; drag a spot and the margins follow.
import { svg as make } from "./lib/canvas.js";
import { gestures, newest } from "./lib/gesture.js";
import { getJson, post, upload } from "./lib/net.js";
import { answer } from "./lib/parts.js";
import { say } from "./lib/status.js";
import { button, row } from "./lib/table.js";
import { did, may } from "./page.js";

const section = document.querySelector(".ground"), svg = document.getElementById("ground");
let site = null, mode = "move", view = null, wallFrom = null, held = null, walking = null, mapOn = false;
const name = section?.dataset.site, linkChoice = document.getElementById("link");
const feet = () => document.getElementById("length").value === "ft";
const length = (m) => (feet() ? `${(m / 0.3048).toFixed(1)} ft` : `${m.toFixed(1)} m`);
async function load() {
  try {
    const told = await getJson(`/api/ground/site?site=${encodeURIComponent(name)}`, { as: "site" });
    if (!told || held) return;
    site = told;
  } catch (error) { say(error.message); return; }
  if (!view) all();
  draw(); margins(site.margins); table(); levels(); answer(site.answer);
}

function all() {
  const at = [...site.spots.map((one) => [one.x_m, one.y_m]), ...site.walls.flatMap((one) => [one.from, one.to])].filter((one) => one && one.every(Number.isFinite));
  const xs = at.map((one) => one[0]), ys = at.map((one) => one[1]);
  const [left, right, low, high] = at.length ? [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)] : [-20, 20, -15, 15];
  view = { x: (left + right) / 2, y: (low + high) / 2, span: Math.max(right - left, (high - low) * 1.6, 10) * 1.35 };
}
const scale = () => svg.clientWidth / view.span;
const px = (x) => svg.clientWidth / 2 + (x - view.x) * scale();
const py = (y) => svg.clientHeight / 2 - (y - view.y) * scale();
const metres = (event) => {
  const box = svg.getBoundingClientRect();
  return [view.x + (event.clientX - box.left - svg.clientWidth / 2) / scale(), view.y - (event.clientY - box.top - svg.clientHeight / 2) / scale()];
};

function draw() {
  const focused = document.activeElement?.dataset?.spot;  // whoever works by keys stays where they are
  svg.replaceChildren();
  if (site.picture) {
    const wide = site.picture_m * scale();
    svg.append(make("image", { href: site.picture, x: px(0) - wide / 2, y: py(0) - wide / 2, width: wide, height: wide, opacity: 0.45, preserveAspectRatio: "xMidYMid meet" }));
  }
  if (mapOn && linkChoice.value) svg.append(make("image", { href: `/ground/map.svg?${new URLSearchParams({ site: name, link: linkChoice.value, left: metresAt(0), right: metresAt(1), low: view.y - svg.clientHeight / scale() / 2, high: view.y + svg.clientHeight / scale() / 2 })}`, x: 0, y: 0, width: svg.clientWidth, height: svg.clientHeight, preserveAspectRatio: "none" }));
  const step = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000].find((one) => one * scale() > 60) || 2000;
  for (let x = Math.ceil((view.x - view.span) / step) * step; x < view.x + view.span; x += step) svg.append(make("line", { class: "grid", x1: px(x), x2: px(x), y1: 0, y2: svg.clientHeight }));
  for (let y = Math.ceil((view.y - view.span) / step) * step; y < view.y + view.span; y += step) svg.append(make("line", { class: "grid", y1: py(y), y2: py(y), x1: 0, x2: svg.clientWidth }));
  for (const wall of site.walls) if (wall.from && wall.to) svg.append(make("line", { class: "wall", x1: px(wall.from[0]), y1: py(wall.from[1]), x2: px(wall.to[0]), y2: py(wall.to[1]) }, make("title", {}, `${wall.material || "wall"}`)));
  const chosen = linkChoice.value, spots = new Map(site.spots.map((one) => [one.name, one]));
  for (const link of site.links) {
    if (chosen && link.name !== chosen) continue;
    const route = link.route.map((one) => spots.get(one)).filter(Boolean);
    if (route.length > 1) svg.append(make("polyline", { class: "route", points: route.map((one) => `${px(one.x_m)},${py(one.y_m)}`).join(" ") }, make("title", {}, `route of ${link.name}`)));
  }
  for (const other of site.others) if (other.at) svg.append(make("circle", { class: "other", cx: px(other.at.x_m), cy: py(other.at.y_m), r: 9 }, make("title", {}, other.name || "other")));
  const antennas = new Set(site.links.map((one) => one.at).filter(Boolean));
  if (!antennas.size && site.spots.length) antennas.add(site.spots[0].name);
  for (const spot of site.spots) {
    const group = make("g", { class: `spot${antennas.has(spot.name) ? " antenna" : ""}${held === spot ? " held" : ""}`, tabindex: 0, role: "button", "data-spot": spot.id, "aria-label": `${spot.name}, ${length(spot.x_m)} east, ${length(spot.y_m)} north. Arrow keys move it.` });
    group.append(make("circle", { cx: px(spot.x_m), cy: py(spot.y_m), r: 10 }), make("text", { x: px(spot.x_m) + 15, y: py(spot.y_m) + 5 }, spot.name || "spot"));
    group.addEventListener("keydown", (event) => nudge(event, spot));
    svg.append(group);
    if (focused === spot.id) group.focus({ preventScroll: true });
  }
  if (walking) svg.append(make("circle", { class: "body", cx: px(walking.x), cy: py(walking.y), r: 7 }));
  const bar = step * scale();
  svg.append(make("path", { d: `M16 ${svg.clientHeight - 18}h${bar}m0 -6v12m${-bar} 0v-12`, stroke: "currentColor", "stroke-width": 2, fill: "none" }), make("text", { x: 22, y: svg.clientHeight - 26 }, length(step)), make("text", { x: svg.clientWidth - 44, y: 26 }, "N ↑"));
}
const metresAt = (share) => view.x + (share - 0.5) * view.span;

function hold(event, spot) {
  if (may !== "edit" || mode !== "move") return null;
  held = spot; spot.was = [spot.x_m, spot.y_m];
  return spot;
}
// A route is the spots of the chosen link, touched one after the other; touching the last one again takes it off.
async function choose(spot) {
  const link = site.links.find((one) => one.name === linkChoice.value);
  if (!link) { say("Choose a link first."); linkChoice.focus(); return; }
  await change(async () => {
    if (mode === "antenna") {
      return post("/api/field", { path: ["link", link.id, "at"], seen: JSON.stringify(link.at ?? null), text: spot.name }, { what: `the antennas of ${link.name}` });
    }
    const route = link.route[link.route.length - 1] === spot.name ? link.route.slice(0, -1) : [...link.route, spot.name];
    return post("/api/field", { path: ["link", link.id, "route"], seen: JSON.stringify(link.route.length ? link.route : null), text: route.length ? JSON.stringify(route) : "" }, { what: `the route of ${link.name}` });
  });
  const now = site.links.find((one) => one.name === linkChoice.value);
  document.getElementById("readout").textContent = mode === "antenna" ? `${now.name} is received at ${now.at}.` : `${now.name} walks ${now.route.join(", ") || "nowhere in particular"}.`;
}
async function nudge(event, spot) {
  if ((event.key === "Enter" || event.key === " ") && (mode === "route" || mode === "antenna")) { event.preventDefault(); await choose(spot); return; }
  const by = { ArrowLeft: [-0.5, 0], ArrowRight: [0.5, 0], ArrowUp: [0, 0.5], ArrowDown: [0, -0.5] }[event.key];
  if (!by || may !== "edit") return;
  event.preventDefault(); event.stopPropagation();
  spot.was = [spot.x_m, spot.y_m];
  spot.x_m += by[0]; spot.y_m += by[1];
  await keep(spot);
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

// Margins while dragging: one question at a time, always the newest.
const follow = newest(async (spot) => {
  const told = await getJson(`/api/ground/margins?${new URLSearchParams({ site: name, spot: spot.name, x: spot.x_m, y: spot.y_m })}`).catch(() => null);
  if (told) margins(told.margins);
});

async function place(event) {  // a touch on the ground
  const [x, y] = metres(event), rounded = [Math.round(x * 10) / 10, Math.round(y * 10) / 10];
  if (mode === "spot") {
    const given = prompt("What is this spot called?");
    if (given) await change(() => post("/api/entry", { path: ["site", site.id, "spots"], value: { name: given, x_m: rounded[0], y_m: rounded[1] } }, { what: `the spot ${given}` }));
  } else if (mode === "wall") {
    if (!wallFrom) { wallFrom = rounded; document.getElementById("readout").textContent = "Now the other end of the wall."; return; }
    const one = wallFrom; wallFrom = null;
    await change(() => post("/api/entry", { path: ["site", site.id, "walls"], value: { material: document.getElementById("material").value, from: one, to: rounded } }, { what: "the wall" }));
    document.getElementById("readout").textContent = "";
  }
}
const spotAt = (event) => { const group = event.target.closest(".spot"); return group && site.spots.find((one) => one.id === group.dataset.spot); };
if (svg) gestures(svg, {
  down: (event) => { if (!site) return null; const spot = spotAt(event); return spot ? { spot, held: hold(event, spot) } : {}; },
  tap: (event, grip) => { if (grip.spot && mode !== "move") choose(grip.spot); else if (!grip.spot) place(event); },
  drag: (event, by, moved, grip) => {
    if (grip.held) {
      [held.x_m, held.y_m] = metres(event).map((one) => Math.round(one * 10) / 10);
      document.getElementById("readout").textContent = `${held.name}: ${length(held.x_m)} east, ${length(held.y_m)} north`;
      draw(); follow(held);
    } else if (moved > 6) { view.x -= by[0] / scale(); view.y += by[1] / scale(); draw(); }
  },
  pinch: (times) => { view.span /= times; draw(); },
  up: async (event, moved, grip) => { if (!grip.held) return; const spot = held; held = null; await keep(spot); },
  cancel: () => { if (held) { [held.x_m, held.y_m] = held.was; held = null; draw(); } },
  wheel: (way) => { view.span *= way > 0 ? 1.2 : 0.83; draw(); },
});
async function change(does) { try { did(await does()); await load(); } catch (error) { say(error.message); } }

function margins(list) {
  const heads = ["Link", "Call", "In hand, dB", "Worst at", "Verdict"];
  const rows = list.map((one) => row([one.link, one.call, one.in_hand.toFixed(1), one.at, one.verdict], heads, { verdict: one.verdict, numbers: ["In hand, dB"] }));
  document.getElementById("margins").replaceChildren(...(rows.length ? rows : [row(["The plan is not there yet."], [""])]));
}
const levelForm = document.getElementById("level");
function levels() {
  const heads = ["Link", "Spot", "Level, dBm", "Watched", ""];
  const rows = (site.levels || []).map((level) => {
    const tr = row([level.link, level.spot, Number(level.dbm).toFixed(1), level.seconds ? `${level.seconds} s` : "one look", ""], heads, { numbers: ["Level, dBm"] });
    if (levelForm) {
      const remove = button("Remove");
      remove.addEventListener("click", () => change(() => post("/api/remove", { path: ["site", site.id, "measured_level", level.id], revision: site.revision }, { what: "a level read here" })));
      tr.lastChild.append(remove);
    }
    return tr;
  });
  document.getElementById("levels").replaceChildren(...(rows.length ? rows : [row(["None yet."], [""])]));
  const spot = levelForm?.elements.spot;
  if (spot) { const chosen = spot.value; spot.replaceChildren(...site.spots.map((one) => new Option(one.name))); if (chosen) spot.value = chosen; }
}
levelForm?.addEventListener("submit", (event) => {
  event.preventDefault();
  const { link, spot, dbm, seconds, facing } = levelForm.elements;
  const value = { link: link.value, spot: spot.value, dbm: Number(dbm.value), seconds: Number(seconds.value) };
  if (facing.value) value.facing = facing.value;
  change(() => post("/api/entry", { path: ["site", site.id, "measured_level"], value }, { what: `the level of ${value.link} at ${value.spot}` }));
});
function table() {
  const heads = ["Spot", "East", "North", "Up"];
  document.getElementById("spots").replaceChildren(...site.spots.map((one) => row([one.name || "", length(one.x_m), length(one.y_m), length(one.z_m ?? 1.5)], heads, { numbers: heads.slice(1) })));
}

for (const one of document.querySelectorAll("[data-mode]")) one.addEventListener("click", () => {
  mode = one.dataset.mode; wallFrom = null;
  for (const other of document.querySelectorAll("[data-mode]")) other.setAttribute("aria-pressed", String(other === one));
});
for (const one of document.querySelectorAll(".ground [data-zoom]")) one.addEventListener("click", () => { if (one.dataset.zoom === "all") all(); else view.span *= one.dataset.zoom === "in" ? 0.7 : 1.4; draw(); });
document.getElementById("site")?.addEventListener("change", (event) => { location.search = `?site=${encodeURIComponent(event.target.value)}`; });
linkChoice?.addEventListener("change", draw);
document.getElementById("length")?.addEventListener("change", () => { draw(); table(); });
document.getElementById("map")?.addEventListener("click", (event) => {
  if (!linkChoice.value && site.links.length) linkChoice.value = site.links[0].name;
  mapOn = !mapOn; event.target.setAttribute("aria-pressed", String(mapOn)); draw();
});
document.getElementById("play")?.addEventListener("click", async () => {
  const link = linkChoice.value || site.links[0]?.name;
  if (!link) return;
  const told = await getJson(`/api/ground/along?${new URLSearchParams({ site: name, link })}`).catch((error) => { say(error.message); return null; });
  if (!told) return;
  const last = told.time_s[told.time_s.length - 1], begun = performance.now(), FASTER = 4;
  const step = (now) => {
    const at = ((now - begun) / 1000) * FASTER;
    if (at >= last) { walking = null; draw(); return; }
    let i = told.time_s.findIndex((one) => one >= at);
    if (i < 0) i = 0;
    walking = { x: told.x_m[i], y: told.y_m[i] };
    document.getElementById("readout").textContent = `${link}, ${told.time_s[i].toFixed(0)} s on the way: ${told.in_hand_db[i] < 0 ? `short by ${(-told.in_hand_db[i]).toFixed(0)} dB` : `${told.in_hand_db[i].toFixed(0)} dB in hand`}, margin ${told.margin_db[i].toFixed(0)} dB`;
    draw(); requestAnimationFrame(step);
  };
  requestAnimationFrame(step);
});
document.getElementById("picture")?.addEventListener("change", async (event) => {
  const wide = prompt("How many metres wide is the picture?", "60");
  if (!wide || !(Number(wide) > 0)) return;
  const data = new FormData();
  data.append("file", event.target.files[0], `${site.id}: ${Number(wide)} m wide: ${event.target.files[0].name}`); data.append("use", "picture");
  await change(() => upload("/api/attach", data));
});
if (svg) {
  addEventListener("resize", () => site && draw());
  for (const what of ["lw:plan", "lw:changed"]) document.body.addEventListener(what, () => { if (!held) load(); });
  load();
}
