// What a telephone opens from the code: it joins at once, with nothing to be tapped; the page tells nothing of the job.
import { ask } from "./lib/net.js";

const code = location.hash.slice(1), said = document.getElementById("answer");
history.replaceState(null, "", location.pathname);
if (!code) said.textContent = "There is no code in this address: scan the code on the laptop's page Connect.";
else {
  try { said.textContent = (await ask("/join", { code })).says; location.replace("/plan"); } catch (error) { said.textContent = error.message; }
}
