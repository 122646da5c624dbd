// @ts-check
/** What the room is made of: surfaces by material, and materials that a sheet of the maker states. */
import { make } from "./api.js";
import { change, desk, select } from "./desk.js";
import { say } from "./page.js";

const BANDS = ["63", "125", "250", "500", "1k", "2k", "4k", "8k"];
const PARTS = ["floor", "walls", "ceiling", "furniture"];

/** @param {string} label @param {HTMLElement} field */
const row = (label, field) => make("label", { class: "field" }, label, field);
const isPiece = (/** @type {string} */ id) => (desk.sheet.choices.material.find((/** @type {any} */ item) => item.id === id)?.kind || "").includes("piece");

/** @param {string} now @param {(id: string) => void} [done] */
function materials(now, done = () => undefined) {
  const groups = [["own", "Of this job"], ["own piece", "Of this job, by the piece"], ["table", "Of the table"], ["piece", "By the piece"]];
  return /** @type {HTMLSelectElement} */ (make("select", { onchange: (/** @type {Event} */ event) => done(/** @type {HTMLSelectElement} */ (event.target).value) },
    ...groups.flatMap(([kind, title]) => {
      const items = desk.sheet.choices.material.filter((/** @type {any} */ item) => item.kind === kind);
      return items.length ? [make("optgroup", { label: title }, ...items.map((/** @type {any} */ item) => make("option", { value: item.id, selected: item.id === now }, item.name)))] : [];
    })));
}

/** @param {(path: (string|number)[], now: unknown, what: string, hint?: string) => HTMLElement} text @param {any} room */
export function surfaces(text, room) {
  const key = select.value;
  const list = desk.sheet.tables.rooms?.[key]?.surfaces || [];
  const at = (/** @type {(string|number)[]} */ ...rest) => ["rooms", key, "surfaces", ...rest];
  const rows = list.map((/** @type {any} */ item, /** @type {number} */ n) => make("details", {}, make("summary", {}, `${item.part}: ${desk.sheet.choices.material.find((/** @type {any} */ m) => m.id === item.material)?.name || item.material}`),
    row("Material", materials(item.material, (id) => change([{ path: at(n, "material"), op: "set", value: id }], `${item.part} of ${room.label}`))),
    isPiece(item.material) ? row("How many", text(at(n, "count"), item.count, `${item.part} of ${room.label}`)) : row("Area, if not all", text(at(n, "area"), item.area, `${item.part} of ${room.label}`, "the whole part; or 12 m2")),
    make("p", {}, make("button", { type: "button", onclick: () => change([{ path: at(n), op: "remove" }], `${item.part} of ${room.label} taken out`) }, "Take it out"))));
  const part = /** @type {HTMLSelectElement} */ (make("select", {}, ...PARTS.map((name) => make("option", {}, name))));
  const material = materials("");
  const add = () => {
    const value = /** @type {Record<string, any>} */ ({ part: part.value, material: material.value });
    if (isPiece(material.value)) value.count = 1;
    change([{ path: at(), op: "append", value }], `${part.value} of ${room.label}`);
  };
  return make("details", { class: "card", id: "surfaces" }, make("summary", {}, `Surfaces: ${list.length || "assumed by the use"}`), ...rows,
    make("h3", {}, "Add a surface"), row("Part", part), row("Material", material), make("p", {}, make("button", { type: "button", onclick: add }, "Add it")), own());
}

/** The job's own materials, each a form of its own. */
function own() {
  const table = desk.sheet.tables.materials || {};
  return make("div", { id: "materials" }, make("h3", {}, "Own materials"), make("p", { class: "soft" }, "What a maker's sheet or a laboratory states, with where it is stated: papers print that beside it."),
    ...Object.entries(table).map(([id, held]) => make("details", {}, make("summary", {}, held.label || id), form(id, held))),
    make("details", {}, make("summary", {}, "Enter a material"), form("", {})));
}

/** @param {string} id @param {any} held */
function form(id, held) {
  const values = held.absorption || held.each || [];
  const shift = values.length === 6 ? 1 : 0;
  const fields = BANDS.map((band, n) => /** @type {HTMLInputElement} */ (make("input", { inputmode: "decimal", value: values[n - shift] ?? "", "aria-label": `At ${band} Hz` })));
  const label = /** @type {HTMLInputElement} */ (make("input", { value: held.label || "", required: true, maxlength: 100, placeholder: "acoustic baffle, 40 mm" }));
  const source = /** @type {HTMLInputElement} */ (make("input", { value: held.source || "", required: true, maxlength: 300, placeholder: "maker's sheet, test report, page" }));
  const piece = /** @type {HTMLSelectElement} */ (make("select", {}, make("option", { value: "absorption" }, "a square metre absorbs so much, 0 to 1.2"), make("option", { value: "each", selected: "each" in held }, "one piece absorbs so many m²")));
  return make("form", { onsubmit: (/** @type {Event} */ event) => { event.preventDefault(); keep(); } },
    row("Called", label), row("Stated as", piece),
    make("div", { class: "bands", role: "group", "aria-label": "Octaves" }, ...BANDS.map((band, n) => make("label", {}, `${band} Hz`, fields[n]))),
    make("p", { class: "soft" }, "63 Hz and 8 kHz may stay empty together: they are then taken as their neighbours, and papers say so."),
    row("Who says so", source),
    make("p", { class: "actions" }, make("button", { class: "main" }, "Keep the material"), ...(id ? [make("button", { type: "button", onclick: () => change([{ path: ["materials", id], op: "remove" }], `material ${id} taken out`) }, "Take it out")] : [])));

  function keep() {
    const typed = fields.map((field) => field.value.trim().replace(",", "."));
    const all = typed[0] === "" && typed[7] === "" ? typed.slice(1, 7) : typed;
    const missing = all.findIndex((value) => !/^\d*\.?\d+$/.test(value));
    if (missing >= 0) { const field = fields[missing + (all.length === 6 ? 1 : 0)]; say("Every octave from 125 Hz to 4 kHz needs a number."); field.focus(); return; }
    let key = id;
    if (!key) {
      const base = label.value.toLowerCase().replace(/[^a-z0-9]+/g, "_").replace(/^_|_$/g, "").slice(0, 40) || "material";
      key = base;
      for (let n = 2; desk.sheet.choices.material.some((/** @type {any} */ item) => item.id === key); n += 1) key = `${base}_${n}`;
    }
    change([{ path: ["materials", key], op: "set", value: { label: label.value.trim(), [piece.value]: all.map(Number), source: source.value.trim() } }], `material ${label.value.trim()}`);
  }
}
