// @ts-check
/** The list of jobs: begin, copy, put away, take in. */
import { ask, need } from "./api.js";
import { tell } from "./page.js";
import "./send_plan.js";

/** @param {string} path @param {unknown} body @param {string} sheet */
async function open(path, body, sheet) {
  try {
    const made = await ask("POST", path, body);
    location.assign(`/jobs/${made.job}/${sheet}`);
  } catch (error) {
    tell(error);
  }
}

need("new").addEventListener("submit", (event) => {
  event.preventDefault();
  const form = new FormData(/** @type {HTMLFormElement} */ (event.target));
  open("/api/jobs", { title: String(form.get("title")), is_imperial: form.get("habit") === "imperial" }, "survey");
});
need("demo").addEventListener("submit", (event) => {
  event.preventDefault();
  const form = new FormData(/** @type {HTMLFormElement} */ (event.target));
  open("/api/demos", { name: String(form.get("name")) }, "ceiling");
});
need("upload").addEventListener("submit", (event) => {
  event.preventDefault();
  const file = /** @type {HTMLInputElement} */ (need("upload-file")).files?.[0];
  if (file) open(`/api/jobs/upload?name=${encodeURIComponent(file.name)}`, file, "ceiling");
});
for (const [attribute, word] of [["duplicate", "duplicate"], ["putAway", "put-away"]]) {
  document.querySelectorAll("button").forEach((button) => {
    const name = button.dataset[attribute];
    if (!name) return;
    button.addEventListener("click", async () => {
      try {
        await ask("POST", `/api/jobs/${encodeURIComponent(name)}/${word}`);
        location.reload();
      } catch (error) {
        tell(error);
      }
    });
  });
}
