// The page Sound: a link's chain is drawn when it is opened; what is open stays open when the shoot changes.
import { say } from "./page.js";

const body = document.getElementById("body");
let open = null;

async function fill(details) {
  const part = details.querySelector(".part");
  if (!details.open || part.dataset.of === details.dataset.part) return;
  part.dataset.of = details.dataset.part;
  const width = Math.max(300, Math.min(900, Math.round(details.clientWidth || 720)));
  const response = await fetch(`${details.dataset.part}&width=${width}`);
  if (response.ok) part.innerHTML = await response.text();
  else { part.dataset.of = ""; say([].concat((await response.json()).says).join(" ")); }
}

function begin() {
  for (const details of document.querySelectorAll("details[data-part]")) {
    if (open && open.has(details.dataset.part)) details.open = true;
    else if (open) details.open = false;
    details.addEventListener("toggle", () => fill(details));
    fill(details);
  }
}
body.addEventListener("htmx:beforeSwap", () => {
  open = new Set([...body.querySelectorAll("details[open][data-part]")].map((one) => one.dataset.part));
});
body.addEventListener("htmx:afterSwap", begin);
begin();
