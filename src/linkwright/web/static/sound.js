// The page Sound: drawings come when they are opened; recordings are sent, listened to, and any moment is played.
import { width } from "./lib/canvas.js";
import { getText, post, tell } from "./lib/net.js";
import { files, send } from "./lib/send.js";
import { say } from "./lib/status.js";
import { did } from "./page.js";

// While it is listened to, only the bar moves; what was heard is asked for when that has ended.
document.body.addEventListener("lw:work", (event) => {
  if (event.detail.name !== "listening" || !event.detail.busy) return;
  const what = document.getElementById("listen-what");
  if (!what) { tell("listen", {}); return; }
  what.textContent = event.detail.what;
  document.getElementById("listen-share").value = event.detail.share;
});

const player = document.getElementById("player");
document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-play],[data-remove]");
  if (!button) return;
  try {
    if (button.dataset.remove) {
      did(await post("/sound/recordings/remove", { of: button.dataset.remove }, { what: "the removal" }));
      tell("listen", {});
      return;
    }
    const near = button.closest("details[data-part]").querySelector(".near"), here = near.id;  // the list may be made anew meanwhile
    getText(`${button.dataset.near}&width=${width(near, 300, 900)}`).then((text) => { document.getElementById(here).innerHTML = text; }, (error) => say(error.message));
    player.hidden = false;
    player.src = button.dataset.play;
    await player.play();
  } catch (error) { if (error.name !== "AbortError") say(error.message); }
});
document.addEventListener("submit", async (event) => {
  const form = event.target.closest("[data-take]");
  if (!form) return;
  event.preventDefault();
  try { did(await post("/sound/take", { link: form.elements.link.value, of: form.dataset.take, channel: Number(form.dataset.channel) }, { what: "the low cut" })); }
  catch (error) { say(error.message); }
});
document.addEventListener("submit", async (event) => {
  const asked = event.target.closest("[data-gain]"), set = event.target.closest("[data-set-gain]");
  if (!asked && !set) return;
  event.preventDefault();
  try {
    if (asked) {
      const about = new URLSearchParams({ of: asked.dataset.gain, track: asked.dataset.channel, link: asked.elements.link.value });
      asked.nextElementSibling.innerHTML = await getText(`/sound/gain?${about}`);
    } else did(await post("/sound/gain", { link: set.dataset.link, of: set.dataset.setGain, channel: Number(set.dataset.channel) }, { what: "the gain" }));
  } catch (error) { say(error.message); }
});
files("recordings-add", async (chosen) => { await Promise.all(chosen.map((file) => send("/sound/recordings", file, {}))); tell("listen", {}); });
