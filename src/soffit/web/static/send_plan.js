// @ts-check
/** Plan files on their way: the first one, and what belongs to the same building beside it. */
import { ask, job, need } from "./api.js";
import { say, tell } from "./page.js";

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
    if (first) location.assign(`/plan-files/${first}${job ? `?job=${encodeURIComponent(job)}` : ""}`);
  } catch (error) {
    tell(error);
  }
});
