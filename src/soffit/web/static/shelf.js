// @ts-check
/** The list of jobs: begin, copy, put away, take in. */
import { ask, need } from "./api.js";
import { say, tell } from "./page.js";

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
need("plan-file").addEventListener("submit", async (event) => {
  event.preventDefault();
  const files = [.../** @type {FileList} */ (/** @type {HTMLInputElement} */ (need("plan-file-file")).files)];
  let first = "";
  try {
    for (const file of files) {
      say(`Reading ${file.name} …`);
      const plan = await ask("POST", `/api/plan-files/upload?name=${encodeURIComponent(file.name)}${first ? `&beside=${first}` : ""}`, file);
      first = first || plan.key;
    }
    if (first) location.assign(`/plan-files/${first}`);
  } catch (error) {
    tell(error);
  }
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
