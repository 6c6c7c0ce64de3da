// The page Live: four looks a second into small canvases; words change only when something happened.
import { post, say } from "./page.js";

const board = document.getElementById("live");
const LOOKS = 240, LOW = -110, HIGH = -20;
const STATES = { holds: "holds", thin: "thin", fails: "fails", "no readings": "fails", "not on now": "off" };
let cards = [], rings = [], needs = [], changes = [], words = [], seen = 0, asking = 0;

const ink = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
let colours = {};
function paints() { colours = { ink: ink("ink"), soft: ink("soft"), ochre: ink("ochre"), madder: ink("madder"), sheet: ink("sheet"), line: ink("line") }; }

function card(n, name) {
  const one = document.createElement("article");
  one.className = "live-card"; one.tabIndex = 0; one.dataset.link = n;
  one.setAttribute("aria-labelledby", `l${n}`);
  const head = document.createElement("h3"); head.id = `l${n}`; head.textContent = name;
  const verdict = document.createElement("p"); verdict.className = "verdict";
  const disc = document.createElement("span"); disc.className = "disc"; disc.setAttribute("aria-hidden", "true");
  const word = document.createElement("span"); word.className = "word"; word.textContent = "no readings";
  verdict.append(disc, word);
  const spark = document.createElement("canvas");
  spark.className = "spark"; spark.width = 200; spark.height = 44;
  spark.setAttribute("role", "img"); spark.setAttribute("aria-label", "Levels of both branches over the last minute");
  const line = document.createElement("p"); line.className = "num line";
  one.append(head, verdict, spark, line);
  board.append(one);
  return one;
}

async function begin() {
  paints();
  const told = await (await fetch("/api/live")).json();
  told.names.forEach((name, n) => {
    cards[n] = board.querySelector(`[data-link="${n}"]`) || card(n, name);
    rings[n] = (told.looks[n] || []).slice(-LOOKS);
    while (rings[n].length < LOOKS) rings[n].unshift([null, null, null, null]);
    needs[n] = told.needs[n];
    changes[n] = told.changed[n];
  });
  told.rows.forEach((row, n) => show(n, row));
}

function show(n, row) {
  const [state, , , , , quality, audio, battery, margin, age] = row;
  const parts = cards[n];
  if (!parts) return;
  if (words[n] !== state) {
    words[n] = state;
    parts.querySelector(".disc").className = `disc ${STATES[state]}`;
    parts.querySelector(".word").textContent = state;
    parts.dataset.state = state;
    clearTimeout(asking); asking = setTimeout(() => document.body.dispatchEvent(new CustomEvent("lw:alarms")), 700);
  }
  const said = [];
  if (margin !== null) said.push(`${margin < 0 ? "−" : "+"}${Math.abs(margin).toFixed(0)} dB`);
  if (quality !== null) said.push(`quality ${quality} %`);
  if (battery !== null) said.push(`battery ${battery} %`);
  if (changes[n]) said.push(`cells ${sinceChange(Date.now() - changes[n])}`);
  if (audio !== null) said.push(`${audio < 0 ? "−" : ""}${Math.abs(audio)} dBFS`);
  if (state === "no readings" && age !== null) said.unshift(`for ${age < 90 ? `${age.toFixed(0)} s` : `${Math.round(age / 60)} min`}`);
  const line = parts.querySelector(".line"), text = said.join(" · ");
  if (line.textContent !== text) line.textContent = text;
}

function sinceChange(ms) {
  const minutes = Math.max(0, Math.floor(ms / 60000));
  return minutes < 60 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")}`;
}

function draw(n) {
  const canvas = cards[n]?.querySelector("canvas");
  if (!canvas || !canvas.clientWidth) return;
  const box = canvas.getBoundingClientRect();
  if (box.bottom < 0 || box.top > innerHeight) return;
  const scale = devicePixelRatio || 1, wide = canvas.clientWidth, tall = canvas.clientHeight;
  if (canvas.width !== Math.round(wide * scale)) { canvas.width = Math.round(wide * scale); canvas.height = Math.round(tall * scale); }
  const pen = canvas.getContext("2d");
  pen.setTransform(scale, 0, 0, scale, 0, 0);
  pen.clearRect(0, 0, wide, tall);
  const y = (dbm) => tall * (1 - (Math.max(LOW, Math.min(HIGH, dbm)) - LOW) / (HIGH - LOW));
  const step = wide / LOOKS, ring = rings[n];
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
  if (needs[n] !== null && needs[n] !== undefined) { pen.fillStyle = colours.ochre; pen.fillRect(0, y(needs[n]), wide, 1.5); }
}

document.body.addEventListener("lw:live", (event) => {
  seen = Date.now();
  event.detail.rows.forEach((row, n) => {
    if (!rings[n]) { begin(); return; }
    rings[n].shift(); rings[n].push([row[1], row[2], row[3], row[4]]);
    show(n, row);
  });
  requestAnimationFrame(() => cards.forEach((_, n) => draw(n)));
});
document.body.addEventListener("lw:ground", paints);
document.body.addEventListener("lw:changed", () => begin());
addEventListener("visibilitychange", () => { if (!document.hidden) begin(); });
// A stream that has ended is shown as ended: what stands on the page is no longer now.
setInterval(() => { if (seen && Date.now() - seen > 5000) { board.classList.add("lost"); say("The laptop says nothing any more; what stands here is old."); } else if (board.classList.contains("lost")) { board.classList.remove("lost"); say(""); } }, 1000);

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-happen],[data-acknowledge],[data-switch],[data-try]");
  if (!button) return;
  const { happen, text, acknowledge, khz, try: play } = button.dataset;
  try {
    let told;
    if (happen) { told = await post("/log/happen", { kind: happen, text }); next(told.next_take); }
    else if (acknowledge) told = await post("/log/acknowledge", { key: acknowledge });
    else if (play) told = await post("/live/try", { what: play });
    else told = await post("/live/switch", { link: button.dataset.switch, khz: Number(khz) });
    say([].concat(told.says || "").join(" "));
    document.body.dispatchEvent(new CustomEvent("lw:happened"));
    document.body.dispatchEvent(new CustomEvent("lw:alarms"));
  } catch (error) { say(error.message); }
});
function next(number) {
  const take = document.querySelector('[data-happen="take"]');
  if (take && number) { take.dataset.text = `Take ${number}`; take.textContent = `Take ${number}`; }
}
document.getElementById("note")?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const field = event.target.elements.text;
  if (!field.value.trim()) return;
  try { await post("/log/happen", { kind: "note", text: field.value }); field.value = ""; document.body.dispatchEvent(new CustomEvent("lw:happened")); }
  catch (error) { say(error.message); }
});
begin();
