// @ts-check
/** Things of the survey: added by pressing, dragged to their place, changed by their values. */
import { make, need } from "./api.js";
import { change, desk, drawing, NS, onSurvey, onView, reach, select, send, STEP, view } from "./desk.js";
import { Hands } from "./hands.js";
import { say } from "./page.js";
import { leave, pressed } from "./sketch.js";

const group = need("things-drawn");
const hands = new Hands(need("things-held"));

/** @param {string} label @param {HTMLElement} field */
const row = (label, field) => make("label", { class: "field" }, label, field);

/** Signs of things, in pixels round their middle. @type {Record<string, string>} */
const SIGNS = {
  racks: '<rect class="sign" x="-7" y="-7" width="14" height="14"/><path class="sign" d="M-7 -7l14 14M-7 7l14 -14"/>',
  test_points: '<circle class="sign" r="6"/><path class="sign" d="M-10 0h20M0 -10v20"/>',
  doors: '<path class="sign" d="M-8 4h16M-8 4a16 16 0 0 1 16 -12"/>',
  placed: '<circle class="sign" r="7"/><circle class="sign" r="2.5"/>',
  "": '<circle class="sign" r="3.5"/>',
};

function draw() {
  const here = new Set(desk.sheet.rooms.filter((/** @type {any} */ item) => item.storey === desk.place.storey).map((/** @type {any} */ item) => item.key));
  const things = desk.sheet.things.filter((/** @type {any} */ item) => here.has(item.room));
  group.replaceChildren();
  /** @type {import("./hands.js").Handle[]} */
  const list = [];
  for (const thing of things) {
    const body = document.createElementNS(NS, "g");
    body.setAttribute("class", `thing ${thing.list}`);
    group.append(body);
    let by = [0, 0];
    const show = () => {
      const at = drawing([thing.at[0] + by[0], thing.at[1] + by[1]]);
      const shape = thing.outline.length ? [[0, 0], ...thing.repeats].map(([dx, dy]) => {
        const ring = thing.outline.map((/** @type {number[]} */ p) => drawing([p[0] + by[0] + dx, p[1] + by[1] + dy]));
        const middle = drawing([thing.at[0] + by[0] + dx, thing.at[1] + by[1] + dy]);
        return thing.is_round ? `<circle cx="${middle.x}" cy="${middle.y}" r="${Math.abs(ring[1].x - ring[0].x) / 2}"/>`
          : `<path d="${ring.map((/** @type {any} */ p, /** @type {number} */ i) => `${i ? "L" : "M"}${p.x} ${p.y}`).join("")}Z"/>`;
      }).join("") : "";
      const sign = SIGNS[thing.list] || "";
      body.innerHTML = `${shape}${sign && thing.room !== select.value ? `<g transform="translate(${at.x} ${at.y}) scale(${1 / view.scale})">${sign}</g>` : ""}`;
    };
    thing.show = show;
    show();
    if (thing.room !== select.value) continue;
    list.push({
      id: `thing-${thing.path.join(".")}`,
      label: thing.name,
      mark: SIGNS[thing.list] || SIGNS[""],
      at: () => [thing.at[0] + by[0], thing.at[1] + by[1]],
      free: (p) => p.map((v) => Math.round(v / (STEP / 2)) * (STEP / 2)),
      drag: (p) => { by = [p[0] - thing.at[0], p[1] - thing.at[1]]; show(); },
      keep: () => {
        if (Math.hypot(by[0], by[1]) < 5e-4) { by = [0, 0]; show(); return; }
        send("/survey/move", { path: thing.path, by, what: `move ${thing.name}` }, (answer) => answer.room, `Kept: ${thing.name} moved`);
      },
      back: () => { by = [0, 0]; show(); },
      remove: thing.list === "racks" ? undefined : () => change([{ path: thing.path, op: "remove" }], `take out ${thing.name}`),
    });
  }
  hands.set(list);
}
onSurvey(draw);
onView(() => { for (const thing of desk.sheet.things) thing.show?.(); });
void reach;

// -- adding ----------------------------------------------------------------------------------

/** What a new thing measures until somebody says otherwise. @type {Record<string, Record<string, any>>} */
const NEW = {
  light: { size: ["1.2 m", "0.3 m"] }, "air outlet": { size: ["0.6 m", "0.6 m"] }, sprinkler: { diameter: "70 mm" }, detector: { diameter: "100 mm" },
  columns: { size: ["0.4 m", "0.4 m"] }, listening: { size: ["4 m", "3 m"] },
};
const NOUNS = /** @type {Record<string, string>} */ ({ columns: "column", doors: "door", listening: "listening area", test_points: "place to measure", racks: "rack" });

/** @param {string} text @returns {string | number} */
function plain(text) {
  const clean = text.trim().replace(/^(-?\d+(?:\.\d+)?) ?m$/, "$1");
  return /^-?\d+(\.\d+)?$/.test(clean) ? Number(clean) : clean;
}

/** @param {string} list @param {string} kind */
function add(list, kind) {
  document.getElementById("new-thing")?.remove();
  const key = select.value;
  const known = desk.sheet.tables.rooms?.[key]?.[list] || [];
  const name = kind || NOUNS[list] || list;
  const at = /** @type {HTMLInputElement} */ (make("input", { id: "thing-at", placeholder: "3.2 m, 1.5 m", "aria-label": `Where the ${name} is: x, y` }));
  const close = () => { leave(); form.remove(); need("thing").focus(); };
  const form = make("section", { class: "card", id: "new-thing" }, make("h2", {}, `Add: ${name}`), make("p", { class: "soft" }, "Press on the plan where it is, or write x, y in any unit. It can be dragged afterwards."),
    row("Middle at", at), make("p", { class: "actions" }, make("button", { type: "button", class: "main", onclick: () => keep(at.value.split(",").map(plain)) }, "Add it"), make("button", { type: "button", onclick: close }, "Leave it")));
  need("forms").prepend(form);
  pressed(`Where the ${name} is`, Infinity, (points) => { at.value = points[points.length - 1].map((v) => `${v.toFixed(3)} m`).join(", "); });
  at.focus();

  /** @param {(string|number)[]} place */
  async function keep(place) {
    if (place.length !== 2 || place.some((v) => v === "")) { say("Two lengths are needed: x, y."); at.focus(); return; }
    if (list === "racks") {
      let rack = "rack";
      for (let n = 2; desk.sheet.tables.racks?.[rack]; n += 1) rack = `rack-${n}`;
      if (await change([{ path: ["racks", rack], op: "set", value: { label: "Rack", room: key, at: place } }], "a rack")) close();
      return;
    }
    /** @type {Record<string, any>} */
    const thing = kind ? { kind } : {};
    const shape = NEW[kind] || NEW[list];
    if (list === "doors" || list === "test_points") Object.assign(thing, { at: place });
    else if (shape?.size) Object.assign(thing, { corner: place.map((v, i) => centred(v, shape.size[i])), size: shape.size });
    else Object.assign(thing, { at: place, diameter: shape?.diameter || "0.3 m" });
    if (list === "test_points") {
      let n = known.length + 1;
      while (known.some((/** @type {any} */ item) => item.key === `t${n}`)) n += 1;
      Object.assign(thing, { key: `t${n}`, label: `place ${n}` });
    }
    if (await change([{ path: ["rooms", key, list], op: "append", value: thing }], `${name} added`)) close();
  }
}

/** @param {string|number} middle @param {string} size @returns {string|number} the lower corner, where both are in metres */
function centred(middle, size) {
  return typeof middle === "number" ? Number((middle - parseFloat(size) / 2).toFixed(4)) : middle;
}

need("thing").addEventListener("change", (event) => {
  const [list, kind] = /** @type {HTMLSelectElement} */ (event.target).value.split(":");
  /** @type {HTMLSelectElement} */ (event.target).value = "";
  if (list) add(list, kind);
});

/** Every thing of the room, with its values to change. @param {(path: (string|number)[], now: unknown, what: string) => HTMLElement} text */
export function cards(text) {
  const key = select.value;
  const table = desk.sheet.tables.rooms?.[key] || {};
  /** @type {HTMLElement[]} */
  const parts = [];
  for (const list of ["obstacles", "columns", "doors", "listening", "test_points"]) {
    (table[list] || []).forEach((/** @type {any} */ item, /** @type {number} */ index) => {
      const name = item.label || item.kind || NOUNS[list];
      const under = (/** @type {(string|number)[]} */ ...rest) => ["rooms", key, list, index, ...rest];
      const fields = Object.entries(item).flatMap(([field, held]) => (Array.isArray(held)
        ? held.every((v) => typeof v !== "object") ? held.map((v, i) => row(`${field} ${["x", "y"][i] || i + 1}`, text(under(field, i), v, `${name}: ${field}`))) : []
        : [row(field.replace(/_/g, " "), text(under(field), held, `${name}: ${field}`))]));
      parts.push(make("details", {}, make("summary", {}, name), ...fields,
        make("p", {}, make("button", { type: "button", onclick: () => change([{ path: under(), op: "remove" }], `take out ${name}`) }, "Take it out"))));
    });
  }
  return make("details", { class: "card", id: "things" }, make("summary", {}, `Things: ${parts.length}`), ...parts);
}
draw();
