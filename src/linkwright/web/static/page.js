// What every page does: one stream of events, the ground, buttons that post, and what was said.
const html = document.documentElement;
export const may = document.body.dataset.may;

export function say(text) {
  const at = document.getElementById("said");
  if (at) at.textContent = text || "";
}

export async function post(url, body) {
  const response = await fetch(url, body instanceof FormData
    ? { method: "POST", body }
    : { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body ?? {}) });
  const kind = response.headers.get("content-type") || "";
  const told = kind.includes("json") ? await response.json() : { says: [await response.text()] };
  if (!response.ok) {
    const error = new Error([].concat(told.says || "That did not work.").join(" "));
    error.status = response.status; error.told = told;
    throw error;
  }
  return told;
}

// The ground: paper, dusk or sun.
const choice = document.querySelector("[data-ground-choice]");
if (choice) {
  choice.value = html.dataset.ground;
  choice.addEventListener("change", () => {
    html.dataset.ground = choice.value;
    try { localStorage.setItem("ground", choice.value); } catch { /* private mode */ }
    document.body.dispatchEvent(new CustomEvent("lw:ground"));
  });
}

// One stream a page, closed while the page is hidden, made anew when it was lost: a stream gives up for good after a 401.
let stream = null, lost = 0, revision = Number(document.body.dataset.revision || 0);
function listen() {
  if (stream || document.hidden) return;
  stream = new EventSource(document.getElementById("live") ? "/events?live=1" : "/events");
  stream.addEventListener("live", (event) => tell("live", JSON.parse(event.data)));
  stream.addEventListener("alarms", (event) => tell("alarms", JSON.parse(event.data)));
  stream.addEventListener("hello", (event) => {
    lost = 0;
    const told = JSON.parse(event.data);
    if (told.revision > revision) changed(told.revision);
    work(told);
    tell("plan", told);
  });
  stream.addEventListener("changed", (event) => changed(JSON.parse(event.data).revision));
  stream.addEventListener("plan", (event) => { const told = JSON.parse(event.data); work(told); if (!told.busy) tell("plan", told); });
  stream.addEventListener("listen", (event) => { const told = JSON.parse(event.data); tell(told.busy ? "listening" : "listen", told); });
  stream.addEventListener("behind", () => location.reload());
  stream.onerror = () => {
    if (stream.readyState !== EventSource.CLOSED) return;
    stream = null;
    lost += 1;
    say("The laptop cannot be reached; this page tries again.");
    setTimeout(listen, Math.min(15000, 500 * 2 ** lost));
  };
  stream.onopen = () => { if (lost) say(""); };
}
function hush() { if (stream) { stream.close(); stream = null; } }
document.addEventListener("visibilitychange", () => (document.hidden ? hush() : listen()));
addEventListener("pagehide", hush);

function tell(what, detail) { document.body.dispatchEvent(new CustomEvent(`lw:${what}`, { detail, bubbles: true })); }
function changed(now) { const since = revision; revision = Math.max(revision, now); tell("changed", { revision: now, since }); }
export function seen(now) { revision = Math.max(revision, now); }

function work(told) {
  const box = document.getElementById("work");
  if (!box) return;
  box.hidden = !told.busy;
  document.getElementById("work-what").textContent = told.what || "planning";
  document.getElementById("work-share").value = told.share || 0;
}

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-do],[data-post],[data-lock]");
  if (!button) return;
  try {
    if (button.dataset.post) say((await post(button.dataset.post)).says);
    else if (button.dataset.lock !== undefined) say((await post("/plan/lock", { link: button.dataset.lock, mhz: button.dataset.mhz })).says);
    else if (button.dataset.do === "undo" || button.dataset.do === "redo") {
      const told = await post(`/api/${button.dataset.do}`);
      say(told.changed ? "" : `Nothing to ${button.dataset.do}.`);
      changed(told.revision);
    } else if (button.dataset.do === "stop") say((await post("/plan/stop")).says);
  } catch (error) { say(error.message); }
});

// Parts that came anew bring a new answer with them.
document.body.addEventListener("htmx:afterSettle", () => takeAnswer());
document.body.addEventListener("htmx:responseError", (event) => {
  let says = "That did not work.";
  try { says = [].concat(JSON.parse(event.detail.xhr.responseText).says).join(" "); } catch { /* plain text */ }
  const target = event.detail.target;
  if (target && target.id !== "body") { target.textContent = says; target.className = "wrong"; } else say(says);
});
export function takeAnswer() {
  const fresh = document.getElementById("new-answer"), at = document.getElementById("answer");
  if (fresh && at && at.textContent !== fresh.textContent) at.textContent = fresh.textContent;
}
// Not before those who wait for what the stream says have begun to listen themselves.
if (document.readyState === "complete") listen(); else addEventListener("load", () => setTimeout(listen, 0));
