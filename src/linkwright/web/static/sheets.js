// The page Sheets: another paper, a newer plan, and the lists of other crews.
import { send } from "./send.js";

const sheets = document.getElementById("sheets");
document.getElementById("paper")?.addEventListener("change", (event) => event.target.form.submit());
document.body.addEventListener("lw:plan", (event) => {
  const now = event.detail.revision ?? event.detail.plan;
  if (!event.detail.busy && now !== undefined && String(now) !== sheets.dataset.plan && !document.querySelector("#uploads li")) location.reload();
});
document.getElementById("theirs")?.addEventListener("change", async (event) => {
  for (const file of event.target.files) await send("/sheets/neighbours", file, {});
});
