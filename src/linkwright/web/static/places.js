// What was learnt of a place is kept when asked for, and taken over elsewhere by one press.
import { post, say, seen } from "./page.js";

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-keep],[data-take-place]");
  if (!button) return;
  button.disabled = true;
  try {
    if (button.dataset.keep !== undefined) say((await post("/places/keep", { site: button.dataset.keep })).says);
    else {
      const told = await post("/places/take", { site: button.dataset.site, place: button.dataset.takePlace });
      say(told.says);
      seen(told.revision);
      document.body.dispatchEvent(new CustomEvent("lw:changed", { detail: { revision: told.revision, since: told.revision - 1 }, bubbles: true }));
    }
  } catch (error) { say(error.message); button.disabled = false; }
});
