// @ts-check
/** Lines: change the order by dragging or by keys, ask what one more would do. */
import { ask, data, here, make, need } from "./api.js";
import { change, say, tell } from "./page.js";

const sheet = data();
const table = document.getElementById("order");
if (table && sheet.line) start(table, sheet.line);

/** @param {HTMLElement} table @param {any} line */
function start(table, line) {
  const keep = /** @type {HTMLButtonElement} */ (need("keep-order"));
  const before = order().join(" ");
  /** @type {HTMLTableRowElement | null} */
  let carried = null;

  function rows() { return /** @type {HTMLTableRowElement[]} */ ([...table.querySelectorAll('tr[data-kind="speaker"]')]); }
  function order() { return rows().map((row) => row.dataset.key || ""); }
  function changed() { keep.disabled = order().join(" ") === before; }

  /** @param {HTMLTableRowElement} row @param {number} by */
  function shift(row, by) {
    const all = rows();
    const other = all[all.indexOf(row) + by];
    if (!other) return;
    if (by < 0) other.before(row); else other.after(row);
    changed();
    say(`${row.querySelector("th")?.textContent?.trim()} is number ${rows().indexOf(row) + 1} now`);
  }

  for (const row of rows()) {
    row.querySelector("[data-up]")?.addEventListener("click", (event) => { shift(row, -1); /** @type {HTMLElement} */ (event.currentTarget).focus(); });
    row.querySelector("[data-down]")?.addEventListener("click", (event) => { shift(row, 1); /** @type {HTMLElement} */ (event.currentTarget).focus(); });
    row.addEventListener("dragstart", (event) => {
      carried = row;
      row.classList.add("carried");
      event.dataTransfer?.setData("text/plain", row.dataset.key || "");
    });
    row.addEventListener("dragover", (event) => {
      if (!carried || carried === row) return;
      event.preventDefault();
      const box = row.getBoundingClientRect();
      if (event.clientY < box.top + box.height / 2) row.before(carried); else row.after(carried);
    });
    row.addEventListener("drop", (event) => event.preventDefault());
    row.addEventListener("dragend", () => { carried?.classList.remove("carried"); carried = null; changed(); });
  }
  keep.addEventListener("click", () => change(`${here}/edits`, { edits: [{ kind: "order", target: line.key, value: order().join(" ") }] }));

  need("more").addEventListener("submit", async (event) => {
    event.preventDefault();
    const form = new FormData(/** @type {HTMLFormElement} */ (event.target));
    try {
      const answer = await ask("POST", `${here}/lines/${encodeURIComponent(line.label)}/more`, {
        count: Number(form.get("count")), tap: String(form.get("tap") || ""), spacing: String(form.get("spacing") || ""),
      });
      need("more-answer").textContent = answer.text;
    } catch (error) {
      tell(error);
    }
  });
  void make;
}
