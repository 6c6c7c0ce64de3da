// The page Sheets: another paper, a newer plan.
import "./page.js";

document.getElementById("paper")?.addEventListener("change", (event) => event.target.form.submit());
document.body.addEventListener("lw:plan", () => location.reload());
