// What a telephone opens from the code: it joins at once, with nothing to be tapped; the page tells nothing of the job.
import { ask } from "./lib/net.js";

const code = location.hash.slice(1), said = document.getElementById("answer");
history.replaceState(null, "", location.pathname);
if (!code) said.textContent = "There is no code in this address: scan the code on the laptop's page Connect.";
else {
  try { const told = await ask("/join", { code }); said.textContent = told.says; location.replace(told.to); } catch (error) { said.textContent = error.message; }
}
