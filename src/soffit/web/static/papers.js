// @ts-check
/** Papers: print packs with progress, look at drawings. */
import { ask, here, make } from "./api.js";
import { run, tell } from "./page.js";

const form = /** @type {HTMLFormElement | null} */ (document.getElementById("print"));
form?.addEventListener("submit", (event) => {
  event.preventDefault();
  const fields = new FormData(form);
  run(`${here}/papers`, { packs: fields.getAll("packs"), extras: fields.getAll("extras") }, "Printing");
});

const look = document.getElementById("look");
if (look) {
  ask("GET", `${here}/papers`).then((told) => {
    const drawings = told.files.filter((/** @type {any} */ file) => file.name.endsWith(".svg"));
    look.replaceChildren(...drawings.map((/** @type {any} */ file) => {
      const address = `${here}/papers/${file.name.split("/").map(encodeURIComponent).join("/")}`;
      return make("a", { href: address, target: "_blank", rel: "noopener" }, make("img", { src: address, alt: file.name, loading: "lazy" }), file.name);
    }));
  }).catch(tell);
}
