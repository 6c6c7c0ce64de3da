// Setting up, step by step: one card a step; what is ticked off is kept, and the next step comes.
import { post, say, takeAnswer } from "./page.js";

const body = document.getElementById("setup-body");
const card = () => body.querySelector(".step-card");
let typing = false, asks = 0;
// What is to be shown; step 0 is the first that is open.
let wanted = { call: card()?.dataset.call || "", link: card()?.dataset.link || "", step: Number(new URLSearchParams(location.search).get("step") || 0) };

async function show(call, link, step, focus) {
  wanted = { call, link, step: Number(step) || 0 };
  const asked = new URLSearchParams(wanted), number = ++asks;
  const response = await fetch(`/setup/body?${asked}`);
  if (number !== asks) return;  // something newer was asked for meanwhile
  if (!response.ok) { say("The step cannot be shown; the laptop may be out of reach."); return; }
  const open = body.querySelector("details")?.open;
  const text = await response.text();
  if (number !== asks) return;
  body.innerHTML = text;
  if (!wanted.link) wanted.link = here().link || "";
  if (open && !focus) { const details = body.querySelector("details"); if (details) details.open = true; }
  takeAnswer();
  history.replaceState(null, "", `/setup?${asked}`);
  if (focus) (document.getElementById("done") || body.querySelector("[data-link-go]"))?.focus({ preventScroll: true });
}
const here = () => card()?.dataset ?? {};

body.addEventListener("click", async (event) => {
  const button = event.target.closest("button");
  if (!button || button.type === "submit") return;
  const at = here();
  if (button.dataset.go) await show(at.call, at.link, button.dataset.go, false);
  else if (button.dataset.linkGo) await show(at.call, button.dataset.linkGo, 0, true);
  else if (button.dataset.done) {
    button.disabled = true;
    try {
      const done = button.dataset.done === "true";
      wanted.step = done ? 0 : Number(at.step);
      say((await post("/tick/step", { call: at.call, link: at.link, key: at.key, done })).says);
      await show(at.call, at.link, done ? 0 : at.step, true);
    } catch (error) { say(error.message); button.disabled = false; }
  }
});
body.addEventListener("change", async (event) => {
  if (event.target.id === "call") await show(event.target.value, "", 0, false);
  else if (event.target.id === "link") await show(document.getElementById("call").value, event.target.value, 0, false);
});
body.addEventListener("submit", async (event) => {
  event.preventDefault();
  const at = here();
  try {
    say((await post("/setup/otherwise", { call: at.call, link: at.link, what: at.what, text: event.target.elements.text.value })).says);
    typing = false;
    await show(at.call, at.link, at.step, false);
  } catch (error) { say(error.message); }
});
body.addEventListener("input", (event) => { if (event.target.name === "text") typing = true; });

async function again() {
  if (!typing) await show(wanted.call, wanted.link, wanted.step, document.activeElement?.id === "done");
}
document.body.addEventListener("lw:plan", again);
document.body.addEventListener("lw:changed", again);
