// The page Live: four looks a second into small canvases; words change only when something happened. Tiles go by the
// link's id, so that a link that is renamed keeps its tile.
import { ink, penOf } from "./lib/canvas.js";
import { hours } from "./lib/lengths.js";
import { getJson, lost, post, tell } from "./lib/net.js";
import { answer } from "./lib/parts.js";
import { say } from "./lib/status.js";
import { did } from "./page.js";

const board = document.getElementById("live");
const LOOKS = 240, LOW = -110, HIGH = -20, OLD_MS = 5000;
const STATES = { holds: "holds", thin: "thin", fails: "fails", "no readings": "fails", "not on now": "off" };
const tiles = new Map();  // by id: { card, ring, need, changed, word }
let seen = 0, asking = 0, colours = {};

function paints() { const of = ink(); colours = Object.fromEntries(["ink", "soft", "ochre"].map((name) => [name, of(name)])); }

function card(id) {
  const there = [...board.querySelectorAll(".live-card")].find((one) => one.dataset.link === id);
  const one = there || document.getElementById("tile").content.firstElementChild.cloneNode(true);
  one.dataset.link = id;
  return one;
}

// Everything anew: where links came, went, were renamed or put in order. One question at a time.
async function begin() {
  paints();
  const told = await getJson("/api/live", { as: "live" }).catch((error) => { say(error.message); return null; });
  if (!told) return;
  told.ids.forEach((id, n) => {
    const tile = tiles.get(id) || { card: card(id), word: "" };
    tile.ring = told.looks[n].slice(-LOOKS);
    while (tile.ring.length < LOOKS) tile.ring.unshift([null, null, null, null]);
    tile.need = told.needs[n]; tile.changed = told.changed[n];
    const head = tile.card.querySelector("h3");
    head.id = `l-${id}`; tile.card.setAttribute("aria-labelledby", head.id);
    if (head.textContent !== told.names[n]) head.textContent = told.names[n];
    if (board.children[n] !== tile.card) board.insertBefore(tile.card, board.children[n] || null);
    tiles.set(id, tile);
    show(id, told.rows[n]);
  });
  for (const [id, tile] of tiles) if (!told.ids.includes(id)) { tile.card.remove(); tiles.delete(id); }
  board.classList.toggle("many", told.ids.length > 24);
  answer(told.answer);
}
let soon = 0;
function beginSoon() { clearTimeout(soon); soon = setTimeout(begin, 150); }

function show(id, row) {
  const [state, , , , , quality, audio, battery, inHand, age] = row, tile = tiles.get(id);
  if (tile.word !== state) {
    tile.word = state;
    tile.card.querySelector(".disc").className = `disc ${STATES[state]}`;
    tile.card.querySelector(".word").textContent = state;
    tile.card.dataset.state = state;
    clearTimeout(asking); asking = setTimeout(() => tell("alarms-again", {}), 700);
  }
  const said = [];
  if (inHand !== null) said.push(inHand < 0 ? `short by ${Math.ceil(-inHand)} dB` : `${Math.floor(inHand)} dB in hand`);
  if (quality !== null) said.push(`quality ${quality} %`);
  if (battery !== null) said.push(`battery ${battery} %`);
  if (tile.changed) said.push(`cells ${hours(Date.now() - tile.changed)}`);
  if (audio !== null) said.push(`${audio < 0 ? "−" : ""}${Math.abs(audio)} dBFS`);
  if (state === "no readings" && age !== null) said.unshift(`for ${age < 90 ? `${age.toFixed(0)} s` : hours(1000 * age)}`);
  const line = tile.card.querySelector(".line"), text = said.join(" · ");
  if (line.textContent !== text) line.textContent = text;
}

function draw({ card: tile, ring, need }) {
  const canvas = tile.querySelector("canvas"), box = canvas.getBoundingClientRect();
  if (!canvas.clientWidth || box.bottom < 0 || box.top > innerHeight) return;
  const wide = canvas.clientWidth, tall = canvas.clientHeight, pen = penOf(canvas, wide, tall);
  pen.clearRect(0, 0, wide, tall);
  const y = (dbm) => tall * (1 - (Math.max(LOW, Math.min(HIGH, dbm)) - LOW) / (HIGH - LOW)), step = wide / LOOKS;
  const lane = (low, high, colour, least) => {
    pen.fillStyle = colour;
    for (let i = 0; i < LOOKS; i += 1) {
      const a = ring[i][low], b = ring[i][high];
      if (a === null || b === null) continue;
      const top = y(b), bottom = Math.max(y(a), top + least);
      pen.fillRect(i * step, top, step + 0.6, bottom - top);
    }
  };
  lane(2, 3, colours.soft, 1);
  lane(0, 1, colours.ink, 2);
  if (need !== null && need !== undefined) { pen.fillStyle = colours.ochre; pen.fillRect(0, y(need), wide, 1.5); }
}

document.body.addEventListener("lw:live", (event) => {
  seen = Date.now();
  board.classList.remove("lost");
  const rows = Object.entries(event.detail.rows);
  if (rows.length !== tiles.size || rows.some(([id]) => !tiles.has(id))) beginSoon();
  for (const [id, row] of rows) {
    const tile = tiles.get(id);
    if (!tile) continue;
    tile.ring.shift(); tile.ring.push([row[1], row[2], row[3], row[4]]);
    show(id, row);
  }
  requestAnimationFrame(() => tiles.forEach(draw));
});
document.body.addEventListener("lw:ground", paints);
for (const what of ["lw:changed", "lw:plan", "lw:readings", "lw:found"]) document.body.addEventListener(what, beginSoon);
addEventListener("visibilitychange", () => { if (!document.hidden) beginSoon(); });
// A stream that has ended is shown as ended: what stands on the page is no longer now.
setInterval(() => { if (seen && (lost() || Date.now() - seen > OLD_MS)) board.classList.add("lost"); }, 1000);

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-happen],[data-acknowledge],[data-try]");
  if (!button) return;
  const { happen, text, acknowledge, try: play } = button.dataset;
  try {
    let told;
    if (happen) { told = await post("/log/happen", { kind: happen, text }, { what: text }); next(told.next_take); }
    else if (acknowledge) told = await post("/log/acknowledge", { key: acknowledge }, { what: "that the alarm was seen" });
    else told = await post("/live/try", { what: play });
    did(told);
    tell("happened", {}); tell("alarms-again", {});
  } catch (error) { say(error.message); }
});
function next(number) {
  const take = document.querySelector('[data-happen="take"]');
  if (take && number) { take.dataset.text = `Take ${number}`; take.textContent = `Take ${number}`; }
}
document.getElementById("note")?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const field = event.target.elements.text, text = field.value;
  if (!text.trim()) return;
  field.value = "";
  try { did(await post("/log/happen", { kind: "note", text }, { what: `the note “${text.slice(0, 40)}”` })); tell("happened", {}); }
  catch (error) { field.value = text; say(error.message); }
});
document.getElementById("level")?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const { link, spot } = event.target.elements;
  try { did(await post("/live/level", { link: link.value, spot: spot.value }, { what: "the level" })); }
  catch (error) { say(error.message); }
});
begin();
