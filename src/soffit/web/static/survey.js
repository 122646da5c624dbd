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
    parts.push(things(), joining(room));
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

// -- cutting and joining rooms ---------------------------------------------------------------

/** @param {any} room */
function joining(room) {
  const others = sheet.rooms.filter((/** @type {any} */ item) => item.key !== room.key && item.storey === room.storey);
  const partner = /** @type {HTMLSelectElement} */ (make("select", { "aria-label": "Room beside it" }, ...others.map((/** @type {any} */ item) => make("option", { value: item.key }, item.label))));
  /** @param {string} path @param {Record<string, any>} body @param {string} said */
  const send = async (path, body, said) => {
    try {
      const told = await ask("POST", `${here}/survey/${path}`, { ...body, revision });
      sessionStorage.setItem("soffit-said", said);
      location.assign(`${location.pathname}?room=${encodeURIComponent(told.room)}`);
    } catch (error) {
      tell(error);
    }
  };
  return make("details", { class: "card" }, make("summary", {}, "Cut or join"),
    make("p", { class: "soft" }, "Cut: press two points of a straight line through the room, or write them."),
    ...["start", "end"].map((name) => row(name === "start" ? "From x y, metres" : "To x y, metres", make("input", { id: `cut-${name}`, placeholder: "4.2 0" }))),
    make("p", { class: "actions" },
      make("button", { type: "button", onclick: () => pressTwo() }, "Press them"),
      make("button", { type: "button", onclick: () => {
        const [start, end] = ["start", "end"].map((name) => /** @type {HTMLInputElement} */ (need(`cut-${name}`)).value.split(/[\s,;]+/).filter(Boolean).map(Number));
        send("split", { room: room.key, start, end }, `${room.label} is two rooms now`);
      } }, "Cut it")),
    others.length ? make("p", { class: "actions" }, partner, make("button", { type: "button", onclick: () => send("merge", { first: room.key, second: partner.value }, "One room now") }, "Join with it")) : null);
}

function pressTwo() {
  /** @type {number[][]} */
  const points = [];
  say("Press two points of the line.");
  pressed((p) => {
    points.push(snapped(p, points[0] || null));
    const name = points.length === 1 ? "start" : "end";
    /** @type {HTMLInputElement} */ (need(`cut-${name}`)).value = points[points.length - 1].map((v) => v.toFixed(3)).join(" ");
    return points.length < 2;
  });
}

// -- things in and under the ceiling ---------------------------------------------------------

/** Call back for presses on the board until it says that it has enough. @param {(p: number[]) => boolean} take */
function pressed(take) {
  /** @type {{x: number, y: number} | null} */
  let down = null;
  const stop = new AbortController();
  board.classList.add("adds");
  board.addEventListener("pointerdown", (event) => { down = { x: event.clientX, y: event.clientY }; }, { signal: stop.signal });
  board.addEventListener("pointerup", (event) => {
    if (!down || Math.hypot(event.clientX - down.x, event.clientY - down.y) > 6) return;
    if (!take(metres(view.at(event)))) { stop.abort(); board.classList.remove("adds"); }
  }, { signal: stop.signal });
}

/** What a new thing measures until somebody says otherwise. @type {Record<string, Record<string, any>>} */
const NEW = {
  light: { size: ["1.2 m", "0.3 m"] }, "air outlet": { size: ["0.6 m", "0.6 m"] }, sprinkler: { diameter: "70 mm" }, detector: { diameter: "100 mm" },
  columns: { size: ["0.4 m", "0.4 m"] }, listening: { size: ["4 m", "3 m"] },
};

/** @param {string} list @param {string} kind */
function addThing(list, kind) {
  const key = select.value;
  const known = sheet.tables.rooms?.[key]?.[list] || [];
  const name = kind || { columns: "column", doors: "door", listening: "listening area", test_points: "place to measure", racks: "rack" }[list] || list;
  const at = make("input", { id: "thing-at", placeholder: "3.2 m, 1.5 m", "aria-label": `Where the ${name} is: x, y` });
  const form = make("section", { class: "card" }, make("h2", {}, `Add: ${name}`), make("p", { class: "soft" }, "Press on the plan where it is, or write x, y in any unit."),
    row("Middle at", at), make("p", { class: "actions" }, make("button", { type: "button", class: "main", onclick: () => keep(/** @type {HTMLInputElement} */ (at).value.split(",").map((part) => value(part))) }, "Add it"), make("button", { type: "button", onclick: () => location.reload() }, "Leave it")));
  need("forms").prepend(form);
  at.focus();
  pressed((p) => { const q = snapped(p, null); /** @type {HTMLInputElement} */ (at).value = q.map((v) => `${v.toFixed(3)} m`).join(", "); return true; });

  /** @param {(string|number)[]} place */
  function keep(place) {
    if (place.length !== 2) { say("Two numbers are needed: x, y."); return; }
    if (list === "racks") {
      let rack = "rack";
      for (let n = 2; sheet.tables.racks?.[rack]; n += 1) rack = `rack-${n}`;
      change([{ path: ["racks", rack], op: "set", value: { label: "Rack", room: key, at: place } }], "a rack");
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
    change([{ path: ["rooms", key, list], op: "append", value: thing }], `${name} in ${key}`);
  }
}

/** @param {string|number} middle @param {string} size @returns {string|number} the lower corner, where both are in metres */
function centred(middle, size) {
  const number = typeof middle === "number" ? middle : /^-?[\d.]+ ?m$/.test(middle) ? parseFloat(middle) : NaN;
  return Number.isNaN(number) ? middle : Number((number - parseFloat(size) / 2).toFixed(4));
}

/** Every thing of the room, with its values to change. */
function things() {
  const key = select.value;
  const table = sheet.tables.rooms?.[key] || {};
  /** @type {HTMLElement[]} */
  const parts = [];
  for (const list of ["obstacles", "columns", "doors", "listening", "test_points"]) {
    (table[list] || []).forEach((/** @type {any} */ item, /** @type {number} */ index) => {
      const name = item.label || item.kind || list.replace(/_/g, " ").replace(/s$/, "");
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

need("thing").addEventListener("change", (event) => {
  const [list, kind] = /** @type {HTMLSelectElement} */ (event.target).value.split(":");
  /** @type {HTMLSelectElement} */ (event.target).value = "";
  if (list) addThing(list, kind);
});

// -- the room in hand, and its grid by dragging ----------------------------------------------

function shape() {
  const room = sheet.rooms.find((/** @type {any} */ item) => item.key === select.value);
  const group = need("room-shape");
  group.replaceChildren();
  if (!room) return;
  const path = (/** @type {number[][]} */ ring) => `${ring.map(drawing).map((p, i) => `${i ? "L" : "M"}${p.x.toFixed(2)} ${p.y.toFixed(2)}`).join("")}Z`;
  group.innerHTML = `<clipPath id="room-clip"><path d="${path(room.outline)}"/></clipPath><g id="grid-lines" clip-path="url(#room-clip)"></g><path d="${path(room.outline)}" fill="none" stroke="#b5371c" stroke-width="0.9"/>`;
  room.ceilings.forEach((/** @type {any} */ ceiling, /** @type {number} */ index) => { if (ceiling.grid) grid(room, ceiling.grid, index); });
}

/** @param {any} room @param {any} held @param {number} index */
function grid(room, held, index) {
  const lines = need("grid-lines");
  const group = need("room-shape");
  const now = { origin: [...held.origin], angle: held.angle_rad };
  const table = sheet.tables.rooms[room.key].ceilings?.[index];
  const dots = ["origin", "turn"].map((kind) => {
    const dot = document.createElementNS(NS, "g");
    dot.setAttribute("class", "unit");
    dot.setAttribute("tabindex", "0");
    dot.setAttribute("role", "button");
    dot.setAttribute("aria-label", kind === "origin" ? `Crossing of the grid of ${room.label}: arrow keys move it, Enter keeps it` : `Turn of the grid of ${room.label}: arrow keys turn it, Enter keeps it`);
    dot.innerHTML = kind === "origin" ? '<circle class="touch" r="3.4"/><path d="M-2.6 0h5.2M0 -2.6v5.2" stroke="#b5371c" stroke-width=".7"/>' : '<circle class="touch" r="3.4"/><circle r="1.3" fill="#ffffff" stroke="#b5371c" stroke-width=".7"/>';
    group.append(dot);
    return dot;
  });
  const arm = held.pitch[0] * 2;

  function show() {
    const xs = room.outline.map((/** @type {number[]} */ p) => p[0]), ys = room.outline.map((/** @type {number[]} */ p) => p[1]);
    const far = Math.hypot(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys)) + Math.hypot(now.origin[0] - xs[0], now.origin[1] - ys[0]);
    const c = Math.cos(now.angle), s = Math.sin(now.angle);
    const to = (/** @type {number} */ u, /** @type {number} */ v) => drawing([now.origin[0] + u * c - v * s, now.origin[1] + u * s + v * c]);
    let d = "";
    for (const [pitch, across] of [[held.pitch[0], false], [held.pitch[1], true]]) {
      const n = Math.min(Math.ceil(far / Number(pitch)), 400);
      for (let i = -n; i <= n; i += 1) {
        const a = across ? to(-far, i * Number(pitch)) : to(i * Number(pitch), -far), b = across ? to(far, i * Number(pitch)) : to(i * Number(pitch), far);
        d += `M${a.x.toFixed(2)} ${a.y.toFixed(2)}L${b.x.toFixed(2)} ${b.y.toFixed(2)}`;
      }
    }
    lines.innerHTML = `<path d="${d}" stroke="#b3bac0" stroke-width=".18" fill="none"/>`;
    const o = to(0, 0), t = to(arm, 0);
    dots[0].setAttribute("transform", `translate(${o.x} ${o.y})`);
    dots[1].setAttribute("transform", `translate(${t.x} ${t.y})`);
  }

  function keep() {
    if (!table) { say("This grid is assumed: say the ceiling's kind first."); show(); return; }
    const under = ["rooms", room.key, "ceilings", index, "grid"];
    const angle = Number((now.angle * 180 / Math.PI).toFixed(2));
    const value = now.origin.map((v) => Number(v.toFixed(4)));
    if (value[0] === Number(held.origin[0].toFixed(4)) && value[1] === Number(held.origin[1].toFixed(4)) && Math.abs(now.angle - held.angle_rad) < 1e-4) return;
    change(table.grid ? [{ path: [...under, "origin"], op: "set", value }, ...(angle || table.grid.angle !== undefined ? [{ path: [...under, "angle"], op: "set", value: angle ? `${angle} deg` : 0 }] : [])]
      : [{ path: under, op: "set", value: { origin: value, pitch: held.pitch, ...(angle ? { angle: `${angle} deg` } : {}) } }], `grid of ${room.label}`);
  }

  dots.forEach((dot, which) => {
    dot.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      event.stopPropagation();
      dot.setPointerCapture(event.pointerId);
      dot.classList.add("held");
    });
    dot.addEventListener("pointermove", (event) => {
      if (!dot.classList.contains("held")) return;
      event.stopPropagation();
      const p = metres(view.at(event));
      if (which === 0) now.origin = snapped(p, null);
      else now.angle = Math.round(Math.atan2(p[1] - now.origin[1], p[0] - now.origin[0]) * 360 / Math.PI) / 360 * Math.PI;
      show();
      say(which === 0 ? `crossing at ${length(now.origin[0])}, ${length(now.origin[1])}` : `turned by ${(now.angle * 180 / Math.PI).toFixed(1)} degrees`);
    });
    dot.addEventListener("pointerup", (event) => { event.stopPropagation(); dot.classList.remove("held"); keep(); });
    dot.addEventListener("keydown", (event) => {
      const step = /** @type {Record<string, number[]>} */ ({ ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] })[event.key];
      if (step) {
        event.preventDefault();
        event.stopPropagation();
        if (which === 0) now.origin = [now.origin[0] + step[0] * STEP / 2, now.origin[1] + step[1] * STEP / 2];
        else now.angle += (step[0] + step[1]) * Math.PI / 360;
        show();
      } else if (event.key === "Enter") { event.preventDefault(); keep(); }
    });
  });
  show();
}

select.addEventListener("change", shape);
forms();
shape();

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
