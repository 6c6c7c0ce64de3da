// The page Plan: the table follows the newest plan by itself; an open ledger stays open.
import "./page.js";

const body = document.getElementById("body");
let open = new Set();
body.addEventListener("htmx:beforeSwap", () => {
  open = new Set([...body.querySelectorAll("details[open] > summary")].map((one) => one.textContent));
});
body.addEventListener("htmx:afterSwap", () => {
  for (const one of body.querySelectorAll("details > summary")) if (open.has(one.textContent)) one.parentElement.open = true;
});
