// The page Sheets: another paper, a newer plan, and the lists of other crews.
import { files, send } from "./lib/send.js";
import "./page.js";

document.getElementById("paper")?.addEventListener("change", (event) => event.target.form.submit());
document.body.addEventListener("lw:plan", () => { if (!document.querySelector("#uploads li")) location.reload(); });
files("theirs", async (chosen) => { for (const file of chosen) await send("/sheets/neighbours", file, {}); });
