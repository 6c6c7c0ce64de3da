// A telephone joins: the code came in the fragment, which was never sent to anybody.
import { post, say } from "./page.js";

const form = document.getElementById("join"), code = location.hash.slice(1);
history.replaceState(null, "", location.pathname);
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  try {
    const told = await post("/join", { code, name: form.elements.name.value });
    document.getElementById("answer").textContent = told.says;
    location.href = "/plan";
  } catch (error) { document.getElementById("answer").textContent = error.message; }
});
if (!code) say("There is no code in this address: scan the code on the laptop's page Connect.");
