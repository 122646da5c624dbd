// @ts-check
/** Findings: hide what is only to be known, mend by one click after a look at what it would do. */
import { ask, here, make, need, revision } from "./api.js";
import { change, tell } from "./page.js";

/** @param {string} id @param {string} selector */
function toggle(id, selector) {
  const box = /** @type {HTMLInputElement} */ (need(id));
  const apply = () => document.querySelectorAll(selector).forEach((element) => { /** @type {HTMLElement} */ (element).hidden = !box.checked; });
  box.addEventListener("change", () => { sessionStorage.setItem(id, String(box.checked)); apply(); });
  box.checked = sessionStorage.getItem(id) !== "false";
  apply();
}
toggle("show-notes", ".finding.note:not(.caution-item)");
toggle("show-cautions", ".finding.caution-item");

document.querySelectorAll("details.accept").forEach((element) => {
  const details = /** @type {HTMLDetailsElement} */ (element);
  details.addEventListener("toggle", () => {
    if (details.querySelector("form")) return;
    const role = /** @type {HTMLInputElement} */ (make("input", { required: true, maxlength: 100, placeholder: "engineer of record" }));
    const reason = /** @type {HTMLInputElement} */ (make("input", { required: true, maxlength: 400, placeholder: "why it may stay; it is printed" }));
    details.append(make("form", { class: "card", onsubmit: async (/** @type {Event} */ event) => {
      event.preventDefault();
      const value = { code: details.dataset.code, place: details.dataset.place, role: role.value.trim(), reason: reason.value.trim() };
      try {
        await ask("POST", `${here}/survey`, { revision: Number(document.body.dataset.jobRevision), edits: [{ path: ["accepted"], op: "append", value }], what: `accept ${value.code} at ${value.place}` });
        location.reload();
      } catch (error) {
        tell(error, () => location.reload());
      }
    } }, make("label", { class: "field" }, "Who accepts it", role), make("label", { class: "field" }, "Because", reason),
      make("p", {}, make("button", {}, "Accept")), make("p", { class: "soft" }, "It stays on every list, with role and reason.")));
    role.focus();
  });
});

const dialog = /** @type {HTMLDialogElement} */ (need("preview"));
document.querySelectorAll("[data-mend]").forEach((element) => {
  const button = /** @type {HTMLButtonElement} */ (element);
  button.addEventListener("click", async () => {
    const body = { code: button.dataset.code, place_key: button.dataset.place || "", number: Number(button.dataset.mend) };
    button.disabled = true;
    try {
      const told = await ask("POST", `${here}/mends/preview`, { ...body, revision: revision() });
      need("preview-name").textContent = button.textContent || "";
      need("preview-body").replaceChildren(...shown(told));
      const keep = /** @type {HTMLButtonElement} */ (dialog.querySelector('[data-act="keep"]'));
      keep.onclick = () => { dialog.close(); change(`${here}/mends`, body); };
      /** @type {HTMLButtonElement} */ (dialog.querySelector('[data-act="close"]')).onclick = () => dialog.close();
      dialog.showModal();
      keep.focus();
    } catch (error) {
      tell(error, () => location.reload());
    } finally {
      button.disabled = false;
    }
  });
});

/** @param {any} told @returns {HTMLElement[]} */
function shown(told) {
  /** @param {string} title @param {any[]} items */
  const list = (title, items) => make("div", {}, make("h3", {}, title), items.length
    ? make("ul", {}, ...items.map((item) => make("li", {}, item)))
    : make("p", { class: "soft" }, "nothing"));
  /** @param {any} item */
  const words = (item) => `${item.code} ${item.place}: ${item.what}`;
  return [
    list("It cures", told.cured.map(words)),
    list("It raises", told.raised.map(words)),
    list("It changes", [
      ...told.rooms.flatMap((/** @type {any} */ room) => room.rows.map((/** @type {any} */ row) => `${room.room}, ${row.what}: ${row.was} → ${row.is}`)),
      ...told.lines.map((/** @type {any} */ line) => `${line.line}: ${line.was ? `${line.was[0]} W, ${line.was[1]} dB` : "new"} → ${line.is[0]} W, ${line.is[1]} dB`),
    ]),
  ];
}
