// The four questions of an empty job: what is answered makes a shoot as soon as it is enough, and again when it changes.
import { getText, post } from "./lib/net.js";
import { say } from "./lib/status.js";
import { did } from "./page.js";

const form = document.getElementById("questions"), zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
const region = form?.elements.region;
if (form && !region.value) {  // the laptop's own zone tells the country, unless several have it
  const fits = [...region.options].filter((option) => (option.dataset.zones || "").split(" ").includes(zone));
  if (fits.length === 1) { region.value = fits[0].value; permits(); }
}
async function permits() {
  const text = region.value ? await getText(`/prepare/permits?region=${region.value}`, { as: "permits" }) : "";
  if (text !== null) document.getElementById("permits").innerHTML = text;
}
function answers() {
  const given = new FormData(form), who = String(given.get("who")).split(/[\n,;\t]/).map((name) => name.trim()).filter(Boolean);
  return {
    where: String(given.get("where")).trim(), region: given.get("region"), surroundings: given.get("surroundings"), date: given.get("date"),
    within_m: Number(String(given.get("within_m")).replace(",", ".")) || 30, begins: given.get("begins") || null, ends: given.get("ends") || null,
    who, permits: given.getAll("permits"), place: given.get("place") || "", kit: given.get("kit") || "", zone, again: form.dataset.again === "yes",
  };
}
const enough = (given) => given.where && given.region && given.who.length && given.date;
let asked = "";
async function begin(always) {
  const given = answers(), now = JSON.stringify(given);
  if (!enough(given) || (!always && now === asked)) return;
  asked = now;
  try {
    const told = await post("/prepare/begin", given, { what: "the answers" });
    did({ ...told, says: told.lacking.join(" ") || "Kept as you type." });
    document.querySelector(".job").textContent = told.title;
    const list = document.getElementById("outfits");
    list.replaceChildren(...told.outfits.map(([name, ...kit]) => { const item = document.createElement("li"), who = document.createElement("b"), what = document.createElement("span"); who.textContent = name; what.textContent = kit.filter(Boolean).join(" · "); item.append(who, " ", what); return item; }));
  } catch (error) { asked = ""; say(error.message); }
}
form?.addEventListener("submit", (event) => { event.preventDefault(); begin(true); });
form?.addEventListener("change", (event) => {
  const { name, surroundings } = event.target.dataset;
  if (name) { form.elements.where.value = name; form.elements.surroundings.value = surroundings; }  // a place that was kept
  if (event.target === region) permits();
  begin(false);
});
// Ctrl+Enter in the list of names plans.
form?.elements.who.addEventListener("keydown", (event) => { if (event.key === "Enter" && (event.ctrlKey || event.metaKey)) { event.preventDefault(); begin(true); } });
