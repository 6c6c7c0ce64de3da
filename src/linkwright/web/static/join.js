import { ask } from "./lib/net.js";
import { answer } from "./lib/parts.js";
import "./page.js";

const form = document.getElementById("join"), code = location.hash.slice(1);
history.replaceState(null, "", location.pathname);
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  try {
    answer((await ask("/join", { code, name: form.elements.name.value })).says);
    location.href = "/plan";
  } catch (error) { answer(error.message); }
});
if (!code) answer("There is no code in this address: scan the code on the laptop's page Connect.");
