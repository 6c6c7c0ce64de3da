// The page Sound: drawings come when they are opened; recordings are sent, listened to, and any moment is played.
import { post, say } from "./page.js";
import { send } from "./send.js";

async function fill(holder) {
  const part = holder.querySelector(".part");
  if (part.dataset.of === holder.dataset.part) return;
  part.dataset.of = holder.dataset.part;
  const width = Math.max(300, Math.min(900, Math.round(holder.clientWidth || 720)));
  const response = await fetch(`${holder.dataset.part}&width=${width}`);
  if (response.ok) part.innerHTML = await response.text();
  else { part.dataset.of = ""; say([].concat((await response.json()).says).join(" ")); }
}
function opened(details) {
  if (!details.open) return;
  fill(details);
  for (const lazy of details.querySelectorAll(":scope > .lazy")) fill(lazy);
}

// Parts that are replaced keep open what was open.
for (const id of ["body", "recordings"]) {
  const part = document.getElementById(id);
  let open = null;
  const begin = () => {
    for (const details of part.querySelectorAll("details[data-part]")) {
      if (open) details.open = open.has(details.dataset.part);
      details.addEventListener("toggle", () => opened(details));
      opened(details);
    }
  };
  part.addEventListener("htmx:beforeSwap", () => {
    const all = [...part.querySelectorAll("details[data-part]")];
    open = all.length ? new Set(all.filter((one) => one.open).map((one) => one.dataset.part)) : null;
  });
  part.addEventListener("htmx:afterSwap", begin);
  begin();
}

// While it is listened to, only the bar moves; what was heard is asked for when that has ended.
document.body.addEventListener("lw:listening", (event) => {
  const what = document.getElementById("listen-what");
  if (!what) { document.body.dispatchEvent(new CustomEvent("lw:listen")); return; }
  what.textContent = event.detail.what;
  document.getElementById("listen-share").value = event.detail.share;
});

const player = document.getElementById("player");
document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-play],[data-remove]");
  if (!button) return;
  try {
    if (button.dataset.remove) {
      say((await post("/sound/recordings/remove", { of: button.dataset.remove })).says);
      document.body.dispatchEvent(new CustomEvent("lw:listen"));
      return;
    }
    const near = button.closest("details").querySelector(".near");
    const width = Math.max(300, Math.min(900, Math.round(near.clientWidth || 720)));
    fetch(`${button.dataset.near}&width=${width}`).then(async (response) => { if (response.ok) near.innerHTML = await response.text(); });
    player.classList.remove("unseen");
    player.src = button.dataset.play;
    await player.play();
  } catch (error) { if (error.name !== "AbortError") say(error.message); }
});
document.addEventListener("submit", async (event) => {
  const form = event.target.closest("[data-take]");
  if (!form) return;
  event.preventDefault();
  try { say((await post("/sound/take", { link: form.elements.link.value, of: form.dataset.take, channel: Number(form.dataset.channel) })).says); }
  catch (error) { say(error.message); }
});

async function take(files) {
  await Promise.all([...files].map((file) => send("/sound/recordings", file, {})));
  document.body.dispatchEvent(new CustomEvent("lw:listen"));
}
document.getElementById("recordings-add")?.addEventListener("change", (event) => take(event.target.files));
if (document.getElementById("recordings-add")) {
  addEventListener("dragover", (event) => event.preventDefault());
  addEventListener("drop", (event) => { event.preventDefault(); if (event.dataTransfer.files.length) take(event.dataTransfer.files); });
}
