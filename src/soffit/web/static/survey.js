// @ts-check
/** The survey: rooms on one sheet, what was asked in plain words, the whole of it as text. */
import { ask, here, length, make, need } from "./api.js";
import { change, desk, drawing, drawn, IMPERIAL, metres, NS, onSurvey, onView, room as inHand, select, send, snapped, stepped, underlay, view } from "./desk.js";
import { say, tell } from "./page.js";
import { outline, pressed } from "./sketch.js";
import { surfaces } from "./surfaces.js";
import { cards } from "./things.js";
import { controls } from "./underlay.js";
import "./send_plan.js";

/** @param {string} text @returns {string | number} a bare number as such */
function value(text) {
  const clean = text.trim();
  return /^-?\d+(\.\d+)?$/.test(clean) ? Number(clean) : clean;
}

/** @param {string} label @param {HTMLElement} field */
const row = (label, field) => make("label", { class: "field" }, label, field);

/**
 * A bare number keeps the unit that stood there; where nothing stood, people of feet mean feet.
 * @param {string} typed @param {unknown} now @param {string} hint
 */
function meant(typed, now, hint) {
  const read = value(typed);
  if (typeof read !== "number") return read;
  const before = typeof now === "string" ? now.match(/^-?[\d.]+\s*([a-zA-Z"'°%²]+)/)?.[1] : "";
  const habit = now === undefined && IMPERIAL ? hint.match(/\bor [\d.]+ (ft|in)\b/)?.[1] : "";
  return before || habit ? `${read} ${before || habit}` : read;
}

/** @param {(string|number)[]} path @param {unknown} now @param {string} what @param {string} [hint] */
function text(path, now, what, hint = "") {
  return make("input", { value: now === undefined || now === null ? "" : String(now), placeholder: hint, onchange: (/** @type {Event} */ event) => {
    const typed = /** @type {HTMLInputElement} */ (event.target).value;
    if (typed.trim() === "") { change([{ path, op: "remove" }], what); return; }
    const read = meant(typed, now, hint);
    change([{ path, op: "set", value: read }], `${what}: ${read}`);
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
  const room = inHand();
  const open = new Set([...need("forms").querySelectorAll("details[open]")].map((item) => item.id || item.querySelector("summary")?.textContent));
  const table = desk.sheet.tables.rooms?.[key] || {};
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
      row("It plays", choice(at("brief", "programme"), brief.programme || "", [["", "not said: speech"], ...desk.sheet.choices.programme.map((/** @type {string} */ name) => [name, name])], `programme of ${room.label}`)),
      row("Level at the ears", text(at("brief", "level"), brief.level, `level in ${room.label}`, "70 dBA, or leave it and say how far over the noise")),
      row("Over the noise", text(at("brief", "margin"), brief.margin, `margin in ${room.label}`, "15 dB")),
      row("Even to ±", text(at("brief", "evenness"), brief.evenness, `evenness of ${room.label}`, "3 dB")),
      row("Judged by", choice(at("brief", "evenness_measure"), brief.evenness_measure || "", [["", "direct 4 kHz"], ...desk.sheet.choices.evenness_measure.map((/** @type {string} */ name) => [name, name])], `measure of ${room.label}`)),
      row("Speech clarity, STI", text(at("brief", "sti_min"), brief.sti_min, `STI of ${room.label}`, "0.5")),
      row("Never louder than", text(at("brief", "max_level"), brief.max_level, `limit in ${room.label}`, "85 dBA")),
      row("How many", text(at("brief", "count"), brief.count, `count in ${room.label}`, "soffit chooses")),
      row("Tap", text(at("brief", "tap"), brief.tap, `tap in ${room.label}`, "soffit chooses")),
      row("Type", choice(at("brief", "speaker_type"), brief.speaker_type || "", [["", "soffit chooses"], ...desk.sheet.choices.speaker_type.map((/** @type {any} */ item) => [item.id, item.name])], `type in ${room.label}`))));
    parts.push(cards(text), joining(room), surfaces(text, room));
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
  const begun = need("forms").querySelectorAll("#sketch, #new-thing"); // a hand is at it: it stays
  need("forms").replaceChildren(...begun, ...parts);
  for (const item of need("forms").querySelectorAll("details")) if (open.has(item.id || item.querySelector("summary")?.textContent)) item.open = true;
}

/** @param {number} area */
function areaText(area) {
  return document.body.dataset.imperial === "1" ? `${(area * 10.7639).toFixed(0)} sq ft` : `${area.toFixed(1)} m²`;
}

// -- cutting and joining rooms ---------------------------------------------------------------

/** @param {any} room */
function joining(room) {
  const others = desk.sheet.rooms.filter((/** @type {any} */ item) => item.key !== room.key && item.storey === room.storey);
  const partner = /** @type {HTMLSelectElement} */ (make("select", { "aria-label": "Room beside it" }, ...others.map((/** @type {any} */ item) => make("option", { value: item.key }, item.label))));
  return make("details", { class: "card" }, make("summary", {}, "Cut or join"),
    make("p", { class: "soft" }, "Cut: press two points of a straight line through the room, or write them."),
    ...["start", "end"].map((name) => row(name === "start" ? "From x y, metres" : "To x y, metres", make("input", { id: `cut-${name}`, placeholder: "4.2 0" }))),
    make("p", { class: "actions" },
      make("button", { type: "button", onclick: () => pressTwo() }, "Press them"),
      make("button", { type: "button", onclick: () => {
        const [start, end] = ["start", "end"].map((name) => /** @type {HTMLInputElement} */ (need(`cut-${name}`)).value.split(/[\s,;]+/).filter(Boolean).map(Number));
        send("/survey/split", { room: room.key, start, end }, (answer) => answer.room, `${room.label} is two rooms now, with what is in them`);
      } }, "Cut it")),
    others.length ? make("p", { class: "actions" }, partner, make("button", { type: "button", onclick: () => send("/survey/merge", { first: room.key, second: partner.value }, (answer) => answer.room, "One room now, with what was in both") }, "Join with it")) : null);
}

function pressTwo() {
  say("Press two points of the line.");
  pressed("The cut", 2, (points) => {
    const name = points.length === 1 ? "start" : "end";
    /** @type {HTMLInputElement} */ (need(`cut-${name}`)).value = points[points.length - 1].map((v) => v.toFixed(3)).join(" ");
  });
}

// -- names, as large on the screen at any zoom -----------------------------------------------

function names() {
  const scale = 1 / view.scale;
  need("room-names").innerHTML = drawn().map((room) => {
    const points = room.outline.map(drawing);
    const xs = points.map((/** @type {any} */ p) => p.x), ys = points.map((/** @type {any} */ p) => p.y);
    const wide = (Math.max(...xs) - Math.min(...xs)) * view.scale, tall = (Math.max(...ys) - Math.min(...ys)) * view.scale;
    const fits = (/** @type {string} */ words) => words.length * 6.6 < wide - 4;
    const short = fits(room.label) ? room.label : `${room.label.slice(0, Math.max(0, Math.floor((wide - 12) / 6.6)))}…`;
    if (short.length < 3 || tall < 16) return "";
    const at = inside(points, xs, ys);
    const use = room.use && room.use.toLowerCase() !== room.label.toLowerCase() && fits(room.use) && tall > 44;
    return `<g transform="translate(${at.x} ${at.y}) scale(${scale})"><text y="${use ? -2 : 4}">${plainText(short)}</text>${use ? `<text class="use" y="14">${plainText(room.use)}</text>` : ""}</g>`;
  }).join("");
}

/** @param {string} words */
const plainText = (words) => words.replace(/&/g, "&amp;").replace(/</g, "&lt;");

/** A place well inside an outline: the middle, or of a room with a nook the middle of its widest part. @param {{x: number, y: number}[]} points @param {number[]} xs @param {number[]} ys */
function inside(points, xs, ys) {
  const low = Math.min(...ys), high = Math.max(...ys);
  let best = { x: (Math.min(...xs) + Math.max(...xs)) / 2, y: (low + high) / 2 }, most = -1;
  for (const share of [0.5, 0.4, 0.6, 0.3, 0.7]) {
    const y = low + (high - low) * share;
    const hits = points.flatMap((p, i) => {
      const q = points[(i + 1) % points.length];
      return (p.y > y) !== (q.y > y) ? [p.x + ((y - p.y) * (q.x - p.x)) / (q.y - p.y)] : [];
    }).sort((a, b) => a - b);
    for (let i = 0; i + 1 < hits.length; i += 2) if (hits[i + 1] - hits[i] > most * 1.1) { most = hits[i + 1] - hits[i]; best = { x: (hits[i] + hits[i + 1]) / 2, y }; }
  }
  return best;
}

// -- the room in hand, and its grid by dragging ----------------------------------------------

function shape() {
  const room = inHand();
  const group = need("room-shape");
  group.replaceChildren();
  if (!room) return;
  const path = (/** @type {number[][]} */ ring) => `${ring.map(drawing).map((p, i) => `${i ? "L" : "M"}${p.x.toFixed(2)} ${p.y.toFixed(2)}`).join("")}Z`;
  group.innerHTML = `<clipPath id="room-clip"><path d="${path(room.outline)}"/></clipPath><g id="grid-lines" clip-path="url(#room-clip)"></g><path data-outline d="${path(room.outline)}" fill="none" stroke="#b5371c" stroke-width="0.9"/>`;
  room.ceilings.forEach((/** @type {any} */ ceiling, /** @type {number} */ index) => { if (ceiling.grid) grid(room, ceiling.grid, index); });
}

/** Handles are as large on the screen at any zoom. */
function sized() {
  for (const dot of need("room-shape").querySelectorAll(".handle > g")) dot.setAttribute("transform", `scale(${1 / view.scale})`);
}

/** @param {any} room @param {any} held @param {number} index */
function grid(room, held, index) {
  const lines = need("grid-lines");
  const group = need("room-shape");
  const now = { origin: [...held.origin], angle: held.angle_rad };
  const table = desk.sheet.tables.rooms[room.key].ceilings?.[index];
  const dots = ["origin", "turn"].map((kind) => {
    const dot = document.createElementNS(NS, "g");
    dot.setAttribute("class", "handle");
    dot.dataset.id = `grid-${index}-${kind}`;
    dot.setAttribute("tabindex", "0");
    dot.setAttribute("role", "button");
    dot.setAttribute("aria-label", kind === "origin" ? `Crossing of the grid of ${room.label}: arrow keys move it, Enter keeps it` : `Turn of the grid of ${room.label}: arrow keys turn it, Enter keeps it`);
    dot.innerHTML = kind === "origin" ? '<g><circle class="touch" r="22"/><circle class="ring" r="11"/><path class="sign" d="M-9 0h18M0 -9v18"/></g>' : '<g><circle class="touch" r="22"/><circle class="ring" r="11"/><circle class="knob" r="5"/></g>';
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
    sized();
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
      if (which === 0) now.origin = snapped(p, null).at;
      else now.angle = Math.round(Math.atan2(p[1] - now.origin[1], p[0] - now.origin[0]) * 360 / Math.PI) / 360 * Math.PI;
      show();
      say(which === 0 ? `crossing at ${length(now.origin[0])}, ${length(now.origin[1])}` : `turned by ${(now.angle * 180 / Math.PI).toFixed(1)} degrees`);
    });
    dot.addEventListener("pointerup", (event) => { event.stopPropagation(); dot.classList.remove("held"); keep(); });
    dot.addEventListener("keydown", (event) => {
      const to = stepped(now.origin, event);
      if (to) {
        event.preventDefault();
        event.stopPropagation();
        if (which === 0) now.origin = to;
        else now.angle += (event.key === "ArrowRight" || event.key === "ArrowUp" ? 1 : -1) * Math.PI / 360;
        show();
        say(which === 0 ? `crossing at ${length(now.origin[0])}, ${length(now.origin[1])}` : `turned by ${(now.angle * 180 / Math.PI).toFixed(1)} degrees`);
      } else if (event.key === "Enter") { event.preventDefault(); keep(); }
    });
  });
  show();
}

need("add-room").addEventListener("click", () => outline(null));
onSurvey(() => { forms(); names(); shape(); });
onView(() => { sized(); names(); });
names();
controls(underlay, tell);
forms();
shape();

// -- the whole text --------------------------------------------------------------------------

const area = /** @type {HTMLTextAreaElement} */ (need("toml"));
const whole = /** @type {HTMLDetailsElement} */ (need("whole"));
async function load() {
  if (!whole.open) { area.value = ""; return; }
  try {
    const told = await ask("GET", `${here}/survey/text`);
    area.value = told.text;
    desk.revision = told.revision;
  } catch (error) {
    tell(error);
  }
}
whole.addEventListener("toggle", load);
onSurvey(load);
need("keep-toml").addEventListener("click", async () => {
  try {
    await ask("PUT", `${here}/survey/text`, { revision: desk.revision, text: area.value });
    location.reload();
  } catch (error) {
    tell(error);
  }
});
