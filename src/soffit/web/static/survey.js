// @ts-check
/** The survey: rooms on one sheet, what was asked in plain words, the whole of it as text. */
import { ask, data, here, length, make, need } from "./api.js";
import { say, tell } from "./page.js";
import { View } from "./view.js";

const sheet = data();
const place = JSON.parse(need("drawing").textContent || "{}");
const svg = /** @type {SVGSVGElement} */ (/** @type {unknown} */ (need("plan")));
const board = need("board");
const view = new View(board, svg, () => undefined);
const NS = "http://www.w3.org/2000/svg";
const select = /** @type {HTMLSelectElement} */ (need("room"));
let revision = sheet.revision;

/** @param {any[]} edits @param {string} what @param {string} [room] */
async function change(edits, what, room = select.value) {
  try {
    const answer = await ask("POST", `${here}/survey`, { revision, edits, what });
    revision = answer.revision;
    sessionStorage.setItem("soffit-said", `Kept: ${what}`);
    location.assign(`${location.pathname}?room=${encodeURIComponent(room)}`);
  } catch (error) {
    tell(error, async () => { revision = (await ask("GET", `${here}/survey`)).revision; change(edits, what, room); });
  }
}

/** @param {string} text @returns {string | number} a bare number as such */
function value(text) {
  const clean = text.trim();
  return /^-?\d+(\.\d+)?$/.test(clean) ? Number(clean) : clean;
}

/** @param {string} label @param {HTMLElement} field */
const row = (label, field) => make("label", { class: "field" }, label, field);

/** @param {(string|number)[]} path @param {unknown} now @param {string} what @param {string} [hint] */
function text(path, now, what, hint = "") {
  return make("input", { value: now === undefined || now === null ? "" : String(now), placeholder: hint, onchange: (/** @type {Event} */ event) => {
    const typed = /** @type {HTMLInputElement} */ (event.target).value;
    change([typed.trim() === "" ? { path, op: "remove" } : { path, op: "set", value: value(typed) }], what);
  } });
}

/** @param {(string|number)[]} path @param {string} now @param {string[][]} choices @param {string} what */
function choice(path, now, choices, what) {
  return make("select", { onchange: (/** @type {Event} */ event) => {
    const taken = /** @type {HTMLSelectElement} */ (event.target).value;
    change([taken ? { path, op: "set", value: taken } : { path, op: "remove" }], what);
  } }, ...choices.map(([id, name]) => make("option", { value: id, selected: id === now }, name)));
}

function forms() {
  const key = select.value;
  const room = sheet.rooms.find((/** @type {any} */ item) => item.key === key);
  const table = sheet.tables.rooms?.[key] || {};
  const brief = table.brief || {};
  const at = (/** @type {(string|number)[]} */ ...rest) => ["rooms", key, ...rest];
  const parts = [];
  if (room) {
    parts.push(make("section", { class: "card" }, make("h2", {}, "Room"),
      row("Called", text(at("label"), table.label, `name of ${room.label}`)),
      row("Use", text(at("use"), table.use, `use of ${room.label}`, "classroom, cafe, office")),
      make("p", { class: "soft" }, `${room.walls.length} walls: ${room.walls.join(", ")}; ${areaText(room.area_m2)}; ${room.speakers} loudspeakers`),
      ...(table.size ? [row("Width", text(at("size", 0), table.size[0], `width of ${room.label}`)), row("Depth", text(at("size", 1), table.size[1], `depth of ${room.label}`))] : []),
      make("label", { class: "tick" }, make("input", { type: "checkbox", checked: Boolean(table.locked), onchange: (/** @type {Event} */ event) => change([{ path: at("locked"), op: "set", value: /** @type {HTMLInputElement} */ (event.target).checked }], `lock of ${room.label}`) }), "leave this room as it is when the design runs"),
      make("p", { class: "actions" }, make("button", { type: "button", onclick: () => outline(room) }, "Draw it anew"), make("button", { type: "button", onclick: () => change([{ path: ["rooms", key], op: "remove" }], `take out ${room.label}`, "") }, "Take it out"))));
    parts.push(make("section", { class: "card" }, make("h2", {}, "Asked for"),
      row("It plays", choice(at("brief", "programme"), brief.programme || "", [["", "not said: speech"], ...sheet.choices.programme.map((/** @type {string} */ name) => [name, name])], `programme of ${room.label}`)),
      row("Level at the ears", text(at("brief", "level"), brief.level, `level in ${room.label}`, "70 dBA, or leave it and say how far over the noise")),
      row("Over the noise", text(at("brief", "margin"), brief.margin, `margin in ${room.label}`, "15 dB")),
      row("Even to ±", text(at("brief", "evenness"), brief.evenness, `evenness of ${room.label}`, "3 dB")),
      row("Judged by", choice(at("brief", "evenness_measure"), brief.evenness_measure || "", [["", "direct 4 kHz"], ...sheet.choices.evenness_measure.map((/** @type {string} */ name) => [name, name])], `measure of ${room.label}`)),
      row("Speech clarity, STI", text(at("brief", "sti_min"), brief.sti_min, `STI of ${room.label}`, "0.5")),
      row("Never louder than", text(at("brief", "max_level"), brief.max_level, `limit in ${room.label}`, "85 dBA")),
      row("How many", text(at("brief", "count"), brief.count, `count in ${room.label}`, "soffit chooses")),
      row("Tap", text(at("brief", "tap"), brief.tap, `tap in ${room.label}`, "soffit chooses")),
      row("Type", choice(at("brief", "speaker_type"), brief.speaker_type || "", [["", "soffit chooses"], ...sheet.choices.speaker_type.map((/** @type {any} */ item) => [item.id, item.name])], `type in ${room.label}`))));
    const noise = table.noise || {};
    parts.push(make("section", { class: "card" }, make("h2", {}, "Noise"),
      row("dBA", text(at("noise", "dba"), noise.dba, `noise of ${room.label}`, "45")), row("NC", text(at("noise", "nc"), noise.nc, `noise of ${room.label}`, "35"))));
    (table.ceilings || []).forEach((/** @type {any} */ ceiling, /** @type {number} */ index) => {
      const under = (/** @type {(string|number)[]} */ ...rest) => at("ceilings", index, ...rest);
      parts.push(make("section", { class: "card" }, make("h2", {}, `Ceiling ${ceiling.key || index + 1}`),
        row("Kind", choice(under("kind"), ceiling.kind || "grid", [["grid", "tiles in a grid"], ["plasterboard", "plasterboard"], ["concealed", "concealed grid"], ["open", "open, pendants"]], `ceiling of ${room.label}`)),
        row("Height", text(under("height"), ceiling.height, `ceiling height of ${room.label}`, "2.7 m or 9 ft")),
        row("Void above", text(under("void_depth"), ceiling.void_depth, `void of ${room.label}`, "400 mm or 16 in")),
        ...(ceiling.grid ? [
          row("Tile along x", text(under("grid", "pitch", 0), ceiling.grid.pitch?.[0], `grid of ${room.label}`)),
          row("Tile along y", text(under("grid", "pitch", 1), ceiling.grid.pitch?.[1], `grid of ${room.label}`)),
          row("A crossing at x", text(under("grid", "origin", 0), ceiling.grid.origin?.[0], `grid of ${room.label}`)),
          row("A crossing at y", text(under("grid", "origin", 1), ceiling.grid.origin?.[1], `grid of ${room.label}`)),
          row("Turned by", text(under("grid", "angle"), ceiling.grid.angle, `grid of ${room.label}`, "0 degrees"))] : []),
        make("label", { class: "tick" }, make("input", { type: "checkbox", checked: Boolean(ceiling.plenum), onchange: (/** @type {Event} */ event) => change([{ path: under("plenum"), op: "set", value: /** @type {HTMLInputElement} */ (event.target).checked }], `plenum of ${room.label}`) }), "the void moves the room's air")));
    });
  }
  need("forms").replaceChildren(...parts);
}

/** @param {number} area */
function areaText(area) {
  return document.body.dataset.imperial === "1" ? `${(area * 10.7639).toFixed(0)} sq ft` : `${area.toFixed(1)} m²`;
}

// -- drawing rooms ---------------------------------------------------------------------------

/** @param {{x: number, y: number}} p */
const metres = (p) => [place.origin_m[0] + (p.x - place.at[0]) / place.mm_per_m, place.origin_m[1] - (p.y - place.at[1]) / place.mm_per_m];
/** @param {number[]} p */
const drawing = (p) => ({ x: place.at[0] + (p[0] - place.origin_m[0]) * place.mm_per_m, y: place.at[1] - (p[1] - place.origin_m[1]) * place.mm_per_m });

const corners = sheet.rooms.flatMap((/** @type {any} */ room) => room.outline);
const STEP = document.body.dataset.imperial === "1" ? 0.3048 / 2 : 0.1;

/** Snap to corners and walls that are there, else right angles and a step. @param {number[]} p @param {number[] | null} last */
function snapped(p, last) {
  for (const corner of corners) if (Math.hypot(corner[0] - p[0], corner[1] - p[1]) < 9 / view.scale / place.mm_per_m * 2) return [...corner];
  const q = [Math.round(p[0] / STEP) * STEP, Math.round(p[1] / STEP) * STEP];
  for (const corner of corners) for (const axis of [0, 1]) if (Math.abs(corner[axis] - p[axis]) < STEP * 0.7) q[axis] = corner[axis];
  if (last) {
    if (Math.abs(q[0] - last[0]) < Math.abs(q[1] - last[1]) * 0.15) q[0] = last[0];
    else if (Math.abs(q[1] - last[1]) < Math.abs(q[0] - last[0]) * 0.15) q[1] = last[1];
  }
  return q;
}

/** Draw an outline by pressing corner after corner, or by typing walls. @param {any} room nothing for a new one */
function outline(room) {
  /** @type {number[][]} */
  const ring = [];
  const hand = need("hand");
  board.classList.add("adds");
  const typed = make("textarea", { rows: 6, placeholder: "0 0\n9 m 0\n9 m 6 m\n0 6 m", "aria-label": "Corners, one a line: x y" });
  const label = make("input", { value: room ? room.label : "", placeholder: "Hall" });
  const form = make("section", { class: "card" }, make("h2", {}, room ? `Draw ${room.label} anew` : "Draw a room"),
    ...(room ? [] : [row("Called", label)]),
    make("p", { class: "soft" }, "Press corner after corner; right angles and other rooms' corners catch. Or write the corners, in any unit: one a line, x y."), typed,
    make("p", { class: "actions" }, make("button", { type: "button", class: "main", onclick: finish }, "Keep the room"), make("button", { type: "button", onclick: () => { ring.pop(); show(); } }, "One corner back"), make("button", { type: "button", onclick: () => location.reload() }, "Leave it")));
  need("forms").prepend(form);
  (room ? typed : label).focus();

  function show() {
    hand.replaceChildren();
    const points = ring.map(drawing);
    const path = document.createElementNS(NS, "path");
    path.setAttribute("d", points.map((p, i) => `${i ? "L" : "M"}${p.x} ${p.y}`).join("") + (points.length > 2 ? "Z" : ""));
    path.setAttribute("fill", "none");
    path.setAttribute("stroke", "#b5371c");
    path.setAttribute("stroke-width", String(2 / view.scale));
    hand.append(path);
    for (const p of points) {
      const dot = document.createElementNS(NS, "circle");
      for (const [name, v] of Object.entries({ cx: p.x, cy: p.y, r: 5 / view.scale, fill: "#b5371c" })) dot.setAttribute(name, String(v));
      hand.append(dot);
    }
    /** @type {HTMLTextAreaElement} */ (typed).value = ring.map((p) => `${+p[0].toFixed(4)} m, ${+p[1].toFixed(4)} m`).join("\n");
    if (ring.length > 1) say(`last wall ${length(Math.hypot(ring[ring.length - 1][0] - ring[ring.length - 2][0], ring[ring.length - 1][1] - ring[ring.length - 2][1]))}`);
  }

  /** @type {{x: number, y: number} | null} */
  let down = null;
  board.addEventListener("pointerdown", (event) => { down = { x: event.clientX, y: event.clientY }; });
  board.addEventListener("pointerup", (event) => {
    if (!down || Math.hypot(event.clientX - down.x, event.clientY - down.y) > 6) return;
    ring.push(snapped(metres(view.at(event)), ring[ring.length - 1] || null));
    show();
  });

  async function finish() {
    const lines = /** @type {HTMLTextAreaElement} */ (typed).value.split("\n").map((line) => line.trim()).filter(Boolean);
    const points = lines.map((line) => (line.includes(",") ? line.split(",") : line.match(/^(\S+(?:\s*(?:m|mm|cm|ft|in|'|")\b)?)\s+(.+)$/)?.slice(1) || [line]).map((part) => value(part)));
    if (room) {
      const table = sheet.tables.rooms[room.key];
      change([...["corner", "size", "at", "diameter"].filter((name) => name in table).map((name) => ({ path: ["rooms", room.key, name], op: "remove" })), { path: ["rooms", room.key, "outline"], op: "set", value: points }], `outline of ${room.label}`);
      return;
    }
    const name = /** @type {HTMLInputElement} */ (label).value.trim();
    const base = name.toLowerCase().replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "") || "room";
    let key = base;
    for (let n = 2; sheet.tables.rooms?.[key]; n += 1) key = `${base}-${n}`;
    change([{ path: ["rooms", key], op: "set", value: { label: name || "Room", outline: points } }], `room ${name || key}`, key);
  }
}

need("add-room").addEventListener("click", () => outline(null));
select.addEventListener("change", forms);
forms();

// -- the whole text --------------------------------------------------------------------------

const area = /** @type {HTMLTextAreaElement} */ (need("toml"));
need("whole").addEventListener("toggle", async () => {
  if (area.value) return;
  try {
    const told = await ask("GET", `${here}/survey/text`);
    area.value = told.text;
    revision = told.revision;
  } catch (error) {
    tell(error);
  }
});
need("keep-toml").addEventListener("click", async () => {
  try {
    await ask("PUT", `${here}/survey/text`, { revision, text: area.value });
    location.reload();
  } catch (error) {
    tell(error);
  }
});
