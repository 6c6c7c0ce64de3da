// What was learnt of a place is kept when asked for, and taken over elsewhere by one press.
import { ask, post, tell } from "./lib/net.js";
import { say } from "./lib/status.js";
import { did } from "./page.js";

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-keep],[data-keep-kit],[data-take-place]");
  if (!button) return;
  button.disabled = true;
  try {
    if (button.dataset.keep !== undefined) { say("Keeping what was learnt."); say((await ask("/places/keep", { site: button.dataset.keep })).says); }
    else if (button.dataset.keepKit !== undefined) say((await ask("/bag/confirmed", {})).says.join(" "));
    else {
      const told = await post("/places/take", { site: button.dataset.site, place: button.dataset.takePlace }, { what: "the kept place" });
      did(told);
      tell("changed", { revision: told.revision, since: told.revision - 1 });
    }
  } catch (error) { say(error.message); button.disabled = false; }
});
