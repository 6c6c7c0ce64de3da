// Asking and telling the laptop. What is asked is asked again until it answers; what is told waits here, through a
// restart of the laptop's program and a reload of the page, until it is kept. Each thing told has a name of its own,
// under which the laptop does it once, however often it comes.
const FIRST_MS = 300, MOST_MS = 5000, ANSWER_MS = 20000, BEAT_MS = 4000, DEAD_MS = 15000;
let lostAt = null, sending = false;
const settled = new Map();  // of this page: what becomes of each thing told, by its name

export function tell(what, detail) { document.body.dispatchEvent(new CustomEvent(`lw:${what}`, { detail, bubbles: true })); }
export const lost = () => lostAt;
const sleep = (ms) => new Promise((resolve) => { setTimeout(resolve, ms); });

async function reach(url, options, ms = ANSWER_MS) {
  const stop = new AbortController(), timer = setTimeout(() => stop.abort(), ms);
  try {
    const response = await fetch(url, { ...options, signal: stop.signal });
    if (lostAt) { lostAt = null; tell("found", {}); }
    return response;
  } catch (error) {
    if (!lostAt) { lostAt = new Date(); tell("lost", { at: lostAt }); }
    throw error;
  } finally { clearTimeout(timer); }
}

async function told(response) {
  const kind = response.headers.get("content-type") || "";
  const said = kind.includes("json") ? await response.json() : { says: [await response.text()] };
  if (response.ok) return said;
  const says = [].concat(said.says || "That did not work.").join(" ");
  throw Object.assign(new Error(says), { status: response.status, told: said });
}

// One question under one name: a newer one takes its place, and the older is answered with null.
const turns = new Map(), late = new WeakMap();
export async function get(url, { as = null, ms = ANSWER_MS } = {}) {
  const turn = as ? (turns.get(as) || 0) + 1 : 0;
  if (as) turns.set(as, turn);
  const overtaken = () => Boolean(as && turns.get(as) !== turn);
  for (let wait = FIRST_MS; ; wait = Math.min(MOST_MS, wait * 2)) {
    try {
      const response = await reach(url, {}, ms);
      if (overtaken()) return null;
      if (!response.ok) await told(response);
      late.set(response, overtaken);
      return response;
    } catch (error) {
      if (error.status) throw error;
      await sleep(wait);
      if (overtaken()) return null;
    }
  }
}
async function read(url, options, how) {
  const response = await get(url, options), said = response && await response[how]();
  return response && !late.get(response)() ? said : null;  // a newer one may have been asked while this one was read
}
export const getJson = (url, options) => read(url, options, "json");
export const getText = (url, options) => read(url, options, "text");

// What waits lies in the browser's own store, a list for each tab; a tab takes over the list of one that is gone.
function stored(area, key, value) {
  try { if (value === undefined) return area.getItem(key); area.setItem(key, value); } catch { /* private mode: it waits in the page alone */ }
  return null;
}
const tab = stored(sessionStorage, "lw-tab") || Math.random().toString(36).slice(2);
stored(sessionStorage, "lw-tab", tab);
const KEY = `lw-waiting-${tab}`;
let queue = [];
try { queue = JSON.parse(stored(localStorage, KEY) || "[]"); } catch { /* damaged */ }
const keep = () => { stored(localStorage, KEY, JSON.stringify(queue)); tell("waiting", { count: queue.length }); };
export const waiting = () => queue;

function adopt() {
  stored(localStorage, `lw-beat-${tab}`, String(Date.now()));
  let keys = [];
  try { keys = Object.keys(localStorage).filter((key) => key.startsWith("lw-waiting-") && key !== KEY); } catch { return; }
  for (const key of keys) {
    const beat = Number(stored(localStorage, key.replace("waiting", "beat")) || 0);
    if (Date.now() - beat < DEAD_MS) continue;
    try { queue.push(...JSON.parse(stored(localStorage, key) || "[]")); } catch { /* damaged */ }
    localStorage.removeItem(key); localStorage.removeItem(key.replace("waiting", "beat"));
  }
  if (queue.length) { keep(); pump(); }
}

// Tell the laptop something; the same thing twice, while it waits, is one. `what` says in words what it is about.
export function post(url, body, { what = "" } = {}) {
  const same = queue.find((waiting) => waiting.url === url && JSON.stringify(waiting.body) === JSON.stringify(body ?? {}));
  if (same && settled.has(same.once)) return settled.get(same.once).promise;
  const once = `${Date.now().toString(36)}-${Math.random().toString(36).slice(2)}`, of = {};
  of.promise = new Promise((resolve, reject) => { of.resolve = resolve; of.reject = reject; });
  settled.set(once, of);
  queue.push({ once, url, body: body ?? {}, what });
  keep(); pump();
  return of.promise;
}

async function pump() {
  if (sending) return;
  sending = true;
  for (let wait = FIRST_MS; queue.length;) {
    const first = queue[0];
    try {
      const options = { method: "POST", headers: { "content-type": "application/json", "x-once": first.once }, body: JSON.stringify(first.body) };
      const said = await told(await reach(first.url, options));
      done(first);
      // What waits for the same field was typed over what this one made of it.
      for (const later of queue) if (said.seen !== undefined && later.url === first.url && JSON.stringify(later.body.path) === JSON.stringify(first.body.path) && later.body.seen === first.body.seen) later.body.seen = said.seen;
      wait = FIRST_MS;
      tell("kept", { what: first.what, said, late: !settled.has(first.once) });
      settled.get(first.once)?.resolve(said);
    } catch (error) {
      if (!error.status || error.status === 503) { await sleep(wait); wait = Math.min(MOST_MS, wait * 2); continue; }
      done(first);
      if (!settled.has(first.once)) tell("refused", { what: first.what, says: error.message });
      settled.get(first.once)?.reject(error);
    }
    settled.delete(first.once);
  }
  sending = false;
}
function done(change) { queue = queue.filter((other) => other !== change); keep(); }

// Is the laptop there? Asked until it is; whoever shows it hears of both.
let probing = false;
export async function probe() {
  if (probing) return;
  probing = true;
  for (let wait = FIRST_MS; ; wait = Math.min(MOST_MS, wait * 2)) {
    try { await reach("/static/-/mark.svg", { cache: "no-store" }); break; } catch { await sleep(wait); }
  }
  probing = false;
}

// Files go by themselves, while the page stands; nothing of them is kept here.
export async function upload(url, data) { return told(await reach(url, { method: "POST", body: data }, 600000)); }
// What takes as long as it takes, and is asked once.
export async function ask(url, body) {
  return told(await reach(url, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body ?? {}) }, 600000));
}

export function begin() { adopt(); setInterval(adopt, BEAT_MS); pump(); }
