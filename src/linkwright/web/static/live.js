// The page Live: four looks a second into small pictures; words change only when something happened. Tiles go by the
// link's id, so that a link that is renamed keeps its tile; beyond twelve the troubled stand first.
import { ink, penOf } from "./lib/canvas.js";
import { getJson, lost, post, tell } from "./lib/net.js";
import { answer } from "./lib/parts.js";
import { say } from "./lib/status.js";
import { did } from "./page.js";

const wall = document.getElementById("live");
const LOOKS = 240, LOW = -110, HIGH = -20, OLD_MS = 5000, ROWS = 12, UNDER_DB = 3;
const DISCS = { holds: "holds", thin: "thin", fails: "fails", "no readings": "fails", "not on now": "off" };
const WORST = ["fails", "no readings", "thin", "holds", "not on now"];
const tiles = new Map();  // by id: { card, ring, need, word, told }
let seen = 0, asking = 0, colours = {}, heard = false;

function paints() { const of = ink(); colours = Object.fromEntries(["ink", "soft", "ochre"].map((name) => [name, of(name)])); }

function card(id) {
  const there = [...wall.querySelectorAll(".tile")].find((tile) => tile.dataset.link === id);
  const tile = there || document.getElementById("tile").content.firstElementChild.cloneNode(true);
  tile.dataset.link = id;
  return tile;
}
const text = (tile, part, words) => { const at = tile.card.querySelector(part); if (at.textContent !== words) at.textContent = words; };

// Everything anew: where links came, went, were renamed or put in order. One question at a time.
async function begin() {
  paints();
  const told = await getJson("/api/live", { as: "live" }).catch((error) => { say(error.message); return null; });
  if (!told) return;
  heard = told.rows.some((row) => row[0] !== "no readings" && row[0] !== "not on now");
  told.ids.forEach((id, n) => {
    const tile = tiles.get(id) || { card: card(id), word: "" };
    tile.ring = told.looks[n].slice(-LOOKS);
    while (tile.ring.length < LOOKS) tile.ring.unshift([null, null, null, null]);
    tile.need = told.needs[n]; tile.told = told.tiles[n]; tile.order = n; tile.word = "";
    tile.card.setAttribute("aria-label", `${told.names[n]}: what is wrong?`);
    text(tile, ".name", told.names[n]);
    text(tile, ".mhz", tile.told.carrier);
    text(tile, ".cells", tile.told.cells);
    text(tile, ".spare", tile.told.spare ? `then ${tile.told.spare}` : "");
    tile.card.toggleAttribute("data-off", Boolean(tile.told.off));
    tiles.set(id, tile);
    show(id, told.rows[n]);
  });
  for (const [id, tile] of tiles) if (!told.ids.includes(id)) { tile.card.remove(); tiles.delete(id); }
  size(told.ids.length);
  order();
  answer(told.answer);
}
let soon = 0;
function beginSoon() { clearTimeout(soon); soon = setTimeout(begin, 150); }
function size(count) { wall.dataset.size = count <= 4 ? "few" : count <= ROWS ? "twelve" : "rows"; }

// In the order of the shoot, those that are not on last; where there are many, the troubled first.
function order() {
  const rank = (tile) => (tiles.size > ROWS ? WORST.indexOf(tile.word) : 0) + (tile.told.off ? 100 : 0);
  const sorted = [...tiles.values()].sort((a, b) => rank(a) - rank(b) || a.order - b.order);
  sorted.forEach((tile, n) => { if (wall.children[n] !== tile.card) wall.insertBefore(tile.card, wall.children[n] || null); });
}

function show(id, row) {
  const [state, , , , , quality, , battery, inHand, age] = row, tile = tiles.get(id), off = tile.told.off;
  const { trouble } = tile.told;
  const quiet = state === "no readings" && !heard;  // a kit that sends none is in no trouble for it
  if (tile.word !== state) {
    tile.word = state;
    tile.card.querySelector(".disc").className = `disc ${off ? "off" : trouble ? "fails" : quiet ? tile.told.verdict || "open" : DISCS[state]}`;
    tile.card.dataset.state = trouble && (quiet || off) ? "trouble" : off || quiet ? "quiet" : state;
    clearTimeout(asking); asking = setTimeout(() => { order(); tell("alarms-again", {}); }, 700);
  }
  const said = [];
  if (trouble) said.push(trouble);
  else if (off) said.push(off);
  else if (quiet) said.push(tile.told.planned ? `plan: ${tile.told.planned}` : "no readings");
  else if (state === "no readings") said.push(`no readings${age === null ? "" : ` for ${age < 90 ? `${age.toFixed(0)} s` : `${Math.floor(age / 60)} min`}`}`);
  else if (state === "fails") said.push("broken");
  else if (inHand !== null) said.push(inHand < 0 ? `short by ${Math.ceil(-inHand)} dB` : `${Math.floor(inHand)} dB in hand`);
  else said.push(quality === null ? state : `quality ${quality} %`);
  const under = off || quiet || state === "no readings" ? 0 : underPlan(tile);
  if (under >= UNDER_DB) said.push(`${UNDER_DB * Math.floor(under / UNDER_DB)} dB under the plan at ${tile.told.weakest}`);
  if (battery !== null && battery <= 30 && !off) said.push(`battery ${battery} %`);
  text(tile, ".word", said.join(" · "));
}

// How far the better branch is, in the middle of ten seconds, under what the plan has at the place where it has least [dB].
function underPlan(tile) {
  const levels = tile.ring.slice(-40).map(better).filter((dbm) => dbm !== null).sort((a, b) => a - b);
  return levels.length && tile.told.weakest_dbm !== null ? tile.told.weakest_dbm - levels[levels.length >> 1] : 0;
}
const better = (look) => { const least = [look[0], look[2]].filter((level) => level !== null); return least.length ? Math.max(...least) : null; };
function draw(tile) {
  const bar = tile.card.querySelector(".bar"), need = tile.need, set = (part, with_) => { const at = bar.querySelector(part); for (const [key, value] of Object.entries(with_)) at.setAttribute(key, value); };
  const levels = tile.ring.map(better).filter((level) => level !== null), now = better(tile.ring[LOOKS - 1]) ?? levels.at(-1);
  if (need === null || need === undefined || now === undefined || !levels.length) return;
  const kept = (over) => Math.max(-10, Math.min(60, over)), over = kept(now - need), least = kept(Math.min(...levels) - need);
  set(".has", { width: Math.max(0, over) });
  set(".lacks", { x: Math.min(0, over), width: Math.max(0, -over) });
  set(".least", { x1: least, x2: least });
  const canvas = tile.card.querySelector("canvas"), box = canvas.getBoundingClientRect();
  if (!canvas.clientWidth || !canvas.clientHeight || box.bottom < 0 || box.top > innerHeight) return;
  const wide = canvas.clientWidth, tall = canvas.clientHeight, pen = penOf(canvas, wide, tall);
  pen.clearRect(0, 0, wide, tall);
  const y = (dbm) => tall * (1 - (Math.max(LOW, Math.min(HIGH, dbm)) - LOW) / (HIGH - LOW)), step = wide / LOOKS;
  const lane = (low, high, colour, thick) => {
    pen.fillStyle = colour;
    for (let i = 0; i < LOOKS; i += 1) {
      const a = tile.ring[i][low], b = tile.ring[i][high];
      if (a === null || b === null) continue;
      const top = y(b), bottom = Math.max(y(a), top + thick);
      pen.fillRect(i * step, top, step + 0.6, bottom - top);
    }
  };
  lane(2, 3, colours.soft, 1);
  lane(0, 1, colours.ink, 2);
  pen.fillStyle = colours.ochre; pen.fillRect(0, y(need), wide, 2);
}

document.body.addEventListener("lw:live", (event) => {
  seen = Date.now();
  wall.classList.remove("lost");
  const rows = Object.entries(event.detail.rows);
  const says = rows.some(([, row]) => row[0] !== "no readings" && row[0] !== "not on now");
  if (rows.length !== tiles.size || rows.some(([id]) => !tiles.has(id)) || says !== heard) beginSoon();
  for (const [id, row] of rows) {
    const tile = tiles.get(id);
    if (!tile) continue;
    tile.ring.shift(); tile.ring.push([row[1], row[2], row[3], row[4]]);
    show(id, row);
  }
  requestAnimationFrame(() => tiles.forEach(draw));
});
document.body.addEventListener("lw:ground", paints);
for (const what of ["lw:changed", "lw:plan", "lw:readings", "lw:found", "lw:minute", "lw:alarms"]) document.body.addEventListener(what, beginSoon);
addEventListener("visibilitychange", () => { if (!document.hidden) beginSoon(); });
setInterval(() => { if (!document.hidden) tell("minute", {}); }, 60000);
// A stream that has ended is shown as ended: what stands on the page is no longer now.
setInterval(() => { if (seen && (lost() || Date.now() - seen > OLD_MS)) wall.classList.add("lost"); }, 1000);

// A tap on a tile, or on what asks for an answer, opens the sheet that asks.
const sheet = document.getElementById("ask"), noting = document.getElementById("noting");
const open = (dialog) => { if (!dialog.open) dialog.showModal(); };
document.addEventListener("click", async (event) => {
  const tile = event.target.closest(".tile");
  if (tile) {
    const ask = document.createElement("button");
    ask.dataset.get = `/live/ask?link=${encodeURIComponent(tile.dataset.link)}`; ask.dataset.into = "ask-body"; ask.hidden = true;
    document.body.append(ask); ask.click(); ask.remove();
    open(sheet); return;
  }
  const button = event.target.closest("button");
  if (!button) return;
  if (button.dataset.into === "ask-body") open(sheet);
  if (button.id === "note-open") { open(noting); return; }
  if (button.id === "note-close") { noting.close(); return; }
  if (button.dataset.carrier) sheet.close();
  const { happen, text: words, acknowledge, over, cells, try: play, answer, yes, was } = button.dataset;
  if (!(happen || acknowledge || over || cells || play || answer)) return;
  try {
    let told;
    if (happen) { told = await post("/log/happen", { kind: happen, text: words }, { what: words }); next(told.next_take); }
    else if (acknowledge) told = await post("/log/acknowledge", { key: acknowledge }, { what: "that the alarm was seen" });
    else if (answer) told = await post("/log/answer", { key: answer, yes: yes ? yes === "yes" : null, was: was || "" }, { what: "the answer" });
    else if (over) told = await post("/log/over", { key: over }, { what: "that it is over" });
    else if (cells) { told = await post("/tick/changed", { link: cells }, { what: "the change of cells" }); sheet.close(); beginSoon(); }
    else told = await post("/live/try", { what: play });
    did(told);
    tell("happened", {}); tell("alarms-again", {});
  } catch (error) { say(error.message); }
});
function next(number) {
  const take = document.querySelector('[data-happen="take"]');
  if (take && number) { take.dataset.text = `Take ${number}`; take.textContent = `Take ${number}`; }
}
document.addEventListener("submit", async (event) => {
  const form = event.target, fields = form.elements;
  try {
    if (form.id === "trouble") {
      event.preventDefault();
      did(await post("/log/trouble", { link: form.dataset.link, several: fields.several.value === "yes", level: fields.level.value, still: fields.still.value }, { what: "the trouble" }));
      sheet.close(); tell("alarms-again", {}); tell("happened", {});
    } else if (form.id === "note") {
      event.preventDefault();
      const words = fields.text.value;
      if (!words.trim()) return;
      did(await post("/log/happen", { kind: "note", text: words }, { what: `the note “${words.slice(0, 40)}”` }));
      fields.text.value = ""; noting.close(); tell("happened", {});
    } else if (form.id === "level") {
      event.preventDefault();
      did(await post("/live/level", { link: fields.link.value, spot: fields.spot.value }, { what: "the level" }));
    }
  } catch (error) { say(error.message); }
});

// A sound at an alarm, where somebody wants it on this device: two short tones when there is one more.
const aloud = document.getElementById("aloud");
let count = 0;
try { aloud.checked = localStorage.getItem("aloud") === "yes"; } catch { /* private mode */ }
aloud.addEventListener("change", () => { try { localStorage.setItem("aloud", aloud.checked ? "yes" : "no"); } catch { /* private mode */ } if (aloud.checked) tone(); });
function tone() {
  const air = new AudioContext();
  for (const [at, hz] of [[0, 660], [0.22, 880]]) {
    const source = air.createOscillator(), loud = air.createGain();
    source.frequency.value = hz; loud.gain.value = 0.2;
    source.connect(loud).connect(air.destination); source.start(air.currentTime + at); source.stop(air.currentTime + at + 0.16);
  }
  setTimeout(() => air.close(), 1000);
}
document.body.addEventListener("lw:alarms", (event) => { if (aloud.checked && event.detail.open > count) tone(); count = event.detail.open || 0; });
begin();
