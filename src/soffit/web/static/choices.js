// @ts-check
/** Alternatives: take one after a look at what it changes; compare two side by side. */
import { ask, here, make, need } from "./api.js";
import { change, searchOptions, tell } from "./page.js";

const room = document.body.dataset.room || "";
/** @type {string[]} */
let chosen = [];

document.querySelectorAll("[data-choose]").forEach((element) => {
  const button = /** @type {HTMLButtonElement} */ (element);
  button.addEventListener("click", () => change(`${here}/options`, { room, number: Number(button.dataset.choose) }));
});

document.querySelectorAll("[data-compare]").forEach((element) => {
  const box = /** @type {HTMLInputElement} */ (element);
  box.addEventListener("change", () => {
    const number = box.dataset.compare || "";
    chosen = box.checked ? [...chosen, number].slice(-2) : chosen.filter((item) => item !== number);
    document.querySelectorAll("[data-compare]").forEach((other) => {
      const tick = /** @type {HTMLInputElement} */ (other);
      tick.checked = chosen.includes(tick.dataset.compare || "");
    });
    compare();
  });
});

async function compare() {
  const place = need("compare");
  try {
    const parts = await Promise.all(chosen.map(async (number) => {
      const drawing = await ask("GET", `${here}/options/${encodeURIComponent(room)}/${number}/drawing`);
      const figure = make("figure", { class: "drawing" });
      figure.innerHTML = drawing;
      const row = document.querySelector(`tr[data-number="${number}"]`);
      const words = [...(row?.querySelectorAll("th, td.n, .verdict") || [])].map((cell) => cell.textContent?.trim().replace(/\s+/g, " ")).join(" · ");
      figure.append(make("figcaption", {}, words));
      return figure;
    }));
    place.replaceChildren(...parts);
  } catch (error) {
    tell(error);
  }
}

const all = /** @type {HTMLInputElement | null} */ (document.getElementById("all-options"));
all?.addEventListener("change", () => document.querySelectorAll("tr.between").forEach((row) => { /** @type {HTMLElement} */ (row).hidden = !all.checked; }));

// -- how hard it is searched -----------------------------------------------------------------

const how = /** @type {HTMLFormElement} */ (need("search"));
const kept = searchOptions();
const field = (/** @type {string} */ name) => /** @type {HTMLInputElement} */ (how.elements.namedItem(name));
field("free").checked = kept.has_free;
field("offsets").checked = kept.has_all_offsets;
field("proof").checked = kept.proof_s !== null;
if (kept.proof_s !== null) field("seconds").value = String(kept.proof_s);
if (kept.has_free || kept.has_all_offsets || kept.proof_s !== null) /** @type {HTMLDetailsElement} */ (how.closest("details")).open = true;
how.addEventListener("change", () => {
  field("seconds").disabled = !field("proof").checked;
  localStorage.setItem("soffit-search", JSON.stringify({ free: field("free").checked, offsets: field("offsets").checked, proof: field("proof").checked, seconds: Number(field("seconds").value) }));
});
field("seconds").disabled = !field("proof").checked;
how.addEventListener("submit", (event) => event.preventDefault());
