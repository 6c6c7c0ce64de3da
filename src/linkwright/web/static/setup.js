// Setting up, step by step: one card a step; what is ticked off is kept, and the next step comes.
import { getText, post } from "./lib/net.js";
import { lifted, takeAnswer } from "./lib/parts.js";
import { say } from "./lib/status.js";
import { did } from "./page.js";

const body = document.getElementById("setup-body");
const card = () => body.querySelector(".step-card");
let typing = false;
// What is to be shown; step 0 is the first that is open.
let wanted = { call: card()?.dataset.call || "", link: card()?.dataset.link || "", step: Number(new URLSearchParams(location.search).get("step") || 0) };

async function show(call, link, step, focus, same = !focus) {
  wanted = { call, link, step: Number(step) || 0 };
  const asked = new URLSearchParams({ ...wanted, step: String(wanted.step) });
  let text = null;
  try { text = await getText(`/setup/body?${asked}`, { as: "setup" }); } catch (error) { say(error.message); }
  if (text === null) return;  // something newer was asked for meanwhile
  await lifted(body);
  const open = [...body.querySelectorAll("details[open]")].map((details) => details.dataset.entry);
  body.innerHTML = text;
  if (!wanted.link) wanted.link = here().link || "";
  if (same) for (const details of body.querySelectorAll("details")) if (open.includes(details.dataset.entry)) details.open = true;
  takeAnswer();
  history.replaceState(null, "", `/setup?${asked}`);
  if (focus) (document.getElementById("done") || body.querySelector("[data-link-go]"))?.focus({ preventScroll: true });
}
const here = () => card()?.dataset ?? {};

body.addEventListener("click", async (event) => {
  const button = event.target.closest("button");
  if (!button || button.type === "submit") return;
  const at = { ...here() };
  if (button.dataset.go) await show(at.call, at.link, button.dataset.go, false);
  else if (button.dataset.linkGo) await show(at.call, button.dataset.linkGo, 0, true);
  else if (button.dataset.done) {
    button.disabled = true;
    const done = button.dataset.done === "true";
    wanted.step = done ? 0 : Number(at.step);
    try {
      did(await post("/tick/step", { call: at.call, link: at.link, key: at.key, done }, { what: "the tick" }));
      await show(at.call, at.link, done ? 0 : at.step, true);
    } catch (error) { say(error.message); button.disabled = false; }
  }
});
body.addEventListener("change", async (event) => {
  if (event.target.id === "call") await show(event.target.value, "", 0, false);
});
body.addEventListener("submit", async (event) => {
  event.preventDefault();
  const at = { ...here() };
  try {
    did(await post("/setup/otherwise", { call: at.call, link: at.link, what: at.what, text: event.target.elements.text.value }, { what: "what was set" }));
    typing = false;
    await show(at.call, at.link, at.step, false);
  } catch (error) { say(error.message); }
});
body.addEventListener("input", (event) => { if (event.target.name === "text") typing = true; });

async function again() {
  if (!typing) await show(wanted.call, wanted.link, wanted.step, document.activeElement?.id === "done", true);
}
for (const what of ["lw:plan", "lw:changed"]) document.body.addEventListener(what, again);
