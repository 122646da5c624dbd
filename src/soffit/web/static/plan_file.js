// @ts-check
/** A plan file: take the rooms that are right, say what the file does not. */
import { ask, make, need } from "./api.js";
import { tell } from "./page.js";

const keep = /** @type {HTMLFormElement} */ (need("keep"));
const again = /** @type {HTMLFormElement} */ (need("again"));
const path = `/api/plan-files/${keep.dataset.plan}`;

/** @param {boolean} accept */
async function send(accept) {
  const form = new FormData(keep);
  const job = String(form.get("job") || "");
  try {
    const told = await ask("POST", `${path}/keep`, {
      title: String(form.get("title") || ""), job, is_imperial: form.get("habit") === "imperial", rooms: form.getAll("rooms"), accept,
    });
    if (job && !told.changed && told.differences.length) {
      need("differences").replaceChildren(make("h2", {}, "What the plan says differently now"),
        make("ul", {}, ...told.differences.map((/** @type {any} */ item) => make("li", {}, Object.values(item).filter((v) => typeof v === "string").join(" ")))),
        make("button", { type: "button", class: "main", onclick: () => send(true) }, "Take these over"));
      return;
    }
    location.assign(`/jobs/${told.job}/survey`);
  } catch (error) {
    tell(error);
  }
}

keep.addEventListener("submit", (event) => { event.preventDefault(); send(false); });
again.addEventListener("submit", async (event) => {
  event.preventDefault();
  try {
    await ask("POST", `${path}/again`, Object.fromEntries([...new FormData(again)].map(([name, value]) => [name, String(value)])));
    location.reload();
  } catch (error) {
    tell(error);
  }
});
