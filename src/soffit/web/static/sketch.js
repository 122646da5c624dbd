// @ts-check
/** Rooms drawn and mended on the plan: corner after corner, by typed walls, by dragging corners. */
import { length, make, metresOf, need } from "./api.js";
import { board, change, desk, drawing, metres, NS, onSurvey, onView, placeWords, room, snapped, STEP, stepped, view } from "./desk.js";
import { Hands } from "./hands.js";
import { say } from "./page.js";

const hand = need("hand");
const corners = new Hands(need("corners"));
/** @type {(() => void) | null} ends the drawing or pressing under way */
let end = null;

/** @param {string} label @param {HTMLElement} field */
const row = (label, field) => make("label", { class: "field" }, label, field);
const KINDS = /** @type {Record<string, string>} */ ({ end: "end of a line", crossing: "crossing", line: "on a line", corner: "corner of a room" });

/** Stop whatever the hand was doing. */
export function leave() {
  end?.();
  end = null;
  hand.replaceChildren();
  board.classList.remove("adds");
  board.removeAttribute("tabindex");
}

/**
 * Let a person press places on the board, or go there by arrow keys and Enter.
 * @param {string} what said to screen readers @param {() => number[] | null} last place before
 * @param {(p: number[]) => void} take @param {{back?: () => void, done?: () => void}} [more]
 * @returns {() => void} draws the cross anew
 */
function presses(what, last, take, more = {}) {
  leave();
  const stop = new AbortController();
  const options = { signal: stop.signal };
  /** @type {{x: number, y: number} | null} */
  let down = null;
  /** @type {number[] | null} */
  let cross = null;
  const mark = document.createElementNS(NS, "g");
  mark.setAttribute("class", "catch");
  hand.append(mark);
  board.classList.add("adds");
  board.tabIndex = 0;
  board.setAttribute("aria-label", `${what}: press on the plan, or arrow keys move the cross, Enter sets it`);
  const show = (/** @type {number[]} */ at, /** @type {string} */ kind, /** @type {boolean} */ keys) => {
    const p = drawing(at), r = 1 / view.scale;
    mark.setAttribute("transform", `translate(${p.x} ${p.y}) scale(${r})`);
    mark.innerHTML = keys ? '<path d="M-14 0h28M0 -14v28"/>' : kind === "crossing" ? '<path d="M-7 -7l14 14M-7 7l14 -14"/>' : kind === "line" ? '<path d="M-9 0h18"/><circle r="3"/>' : '<circle r="7"/>';
  };
  board.addEventListener("pointerdown", (event) => { down = { x: event.clientX, y: event.clientY }; }, options);
  board.addEventListener("pointermove", (event) => {
    if (event.pointerType === "touch") return;
    const found = snapped(metres(view.at(event)), last());
    cross = null;
    show(found.at, found.kind, false);
    need("under-pointer").textContent = `${placeWords(found.at)}${KINDS[found.kind] ? `, ${KINDS[found.kind]}` : ""}`;
    need("under-pointer").hidden = false;
  }, options);
  board.addEventListener("pointerup", (event) => {
    if (!down || Math.hypot(event.clientX - down.x, event.clientY - down.y) > 8) return;
    const found = snapped(metres(view.at(event)), last());
    say(`${placeWords(found.at)}${KINDS[found.kind] ? `, ${KINDS[found.kind]}` : ""}`);
    take(found.at);
  }, options);
  board.addEventListener("keydown", (event) => {
    const from = cross || last() || metres(view.middle());
    const p = stepped(from, event);
    if (p) { event.preventDefault(); event.stopPropagation(); cross = p; show(p, "", true); say(placeWords(p)); }
    else if (event.key === "Enter") { event.preventDefault(); take(cross || from); }
    else if (event.key === "Backspace" && more.back) { event.preventDefault(); more.back(); }
    else if (event.key === "Escape") { event.preventDefault(); leave(); more.done?.(); }
  }, options);
  end = () => { stop.abort(); need("under-pointer").hidden = true; board.removeAttribute("aria-label"); };
  return () => hand.append(mark);
}

/** Take so many presses. @param {string} what @param {number} count @param {(points: number[][]) => void} done */
export function pressed(what, count, done) {
  /** @type {number[][]} */
  const points = [];
  presses(what, () => points[points.length - 1] || null, (p) => {
    points.push(p);
    done(points);
    if (points.length >= count) leave();
  });
}

/** Draw an outline by pressing corner after corner, by arrow keys, or by typed walls. @param {any} item nothing for a new room */
export function outline(item) {
  document.getElementById("sketch")?.remove();
  /** @type {number[][]} */
  const ring = [];
  const typed = /** @type {HTMLTextAreaElement} */ (make("textarea", { rows: 5, placeholder: "0 0\n9 m 0\n9 m 6 m\n0 6 m", "aria-label": "Corners, one a line: x y" }));
  const label = /** @type {HTMLInputElement} */ (make("input", { value: item ? item.label : "", placeholder: "Hall" }));
  const wall = /** @type {HTMLInputElement} */ (make("input", { placeholder: "4.2 m or 14 ft", "aria-label": "Length of the next wall" }));
  const back = () => { ring.pop(); show(); };
  const close = () => { leave(); form.remove(); need("add-room").focus(); };
  const form = make("section", { class: "card", id: "sketch" }, make("h2", {}, item ? `Draw ${item.label} anew` : "Draw a room"),
    ...(item ? [] : [row("Called", label)]),
    make("p", { class: "soft" }, "Press corner after corner on the plan; its lines, right angles and other rooms' corners catch. By keys: Tab to the plan, arrows, Enter."),
    make("p", { class: "actions" }, wall, ...[["→", 1, 0, "to the right"], ["↑", 0, 1, "up"], ["←", -1, 0, "to the left"], ["↓", 0, -1, "down"]].map(([sign, x, y, words]) => make("button", { type: "button", "aria-label": `A wall of this length ${words}`, onclick: () => along(Number(x), Number(y)) }, String(sign)))),
    make("details", {}, make("summary", {}, "Corners as text"), typed),
    make("p", { class: "actions" }, make("button", { type: "button", class: "main", onclick: finish }, "Keep the room"), make("button", { type: "button", onclick: back }, "One corner back"), make("button", { type: "button", onclick: close }, "Leave it")));
  need("forms").prepend(form);
  const lines = document.createElementNS(NS, "g");
  const again = presses(item ? `Outline of ${item.label}` : "Outline of the new room", () => ring[ring.length - 1] || null, (p) => {
    const first = ring[0];
    if (first && ring.length > 2 && Math.hypot(first[0] - p[0], first[1] - p[1]) < 1e-3) { say("The outline is closed: keep the room."); return; }
    ring.push(p);
    show();
  }, { back, done: () => form.remove() });
  hand.prepend(lines);
  (item ? board : label).focus();

  /** @param {number} x @param {number} y */
  function along(x, y) {
    const far = metresOf(wall.value);
    if (!(far > 0)) { say("Write the wall's length first, such as 4.2 m."); wall.focus(); return; }
    if (!ring.length) ring.push(metres(view.middle()).map((v) => Math.round(v / STEP) * STEP));
    const last = ring[ring.length - 1];
    ring.push([last[0] + x * far, last[1] + y * far]);
    show();
  }

  function show() {
    const points = ring.map(drawing);
    const r = 5 / view.scale;
    lines.innerHTML = `<path class="sketched" d="${points.map((p, i) => `${i ? "L" : "M"}${p.x} ${p.y}`).join("")}${points.length > 2 ? "Z" : ""}" stroke-width="${2 / view.scale}"/>${points.map((p) => `<circle class="corner" cx="${p.x}" cy="${p.y}" r="${r}"/>`).join("")}`;
    again();
    typed.value = ring.map((p) => `${+p[0].toFixed(4)} m, ${+p[1].toFixed(4)} m`).join("\n");
    if (ring.length > 1) say(`corner ${ring.length}, last wall ${length(Math.hypot(ring[ring.length - 1][0] - ring[ring.length - 2][0], ring[ring.length - 1][1] - ring[ring.length - 2][1]))}`);
  }
  onView(() => { if (lines.isConnected) show(); });

  async function finish() {
    const points = typed.value.split("\n").map((line) => line.trim()).filter(Boolean)
      .map((line) => (line.includes(",") ? line.split(",") : line.match(/^(\S+(?:\s*(?:m|mm|cm|ft|in|'|")\b)?)\s+(.+)$/)?.slice(1) || [line]).map((part) => plain(part)));
    if (points.length < 3) { say("A room has at least three corners."); return; }
    if (item) { if (await reshape(item, points, `outline of ${item.label}`)) close(); return; }
    const name = label.value.trim();
    const base = name.toLowerCase().replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "") || "room";
    const rooms = desk.sheet.tables.rooms || {};
    let key = base;
    for (let n = 2; rooms[key]; n += 1) key = `${base}-${n}`;
    const storey = desk.place.storey;
    const named = desk.sheet.tables.storeys?.[storey] ? { storey } : {};
    const zone = desk.sheet.tables.zones?.all ? [{ path: ["zones", "all", "rooms"], op: "append", value: key }] : [];
    if (await change([{ path: ["rooms", key], op: "set", value: { label: name || "Room", ...named, outline: points } }, ...zone], `room ${name || key}`, key)) close();
  }
}

/** @param {string} text @returns {string | number} a bare number as such */
function plain(text) {
  const clean = text.trim();
  return /^-?\d+(\.\d+)?$/.test(clean) ? Number(clean) : clean.replace(/^(-?[\d.]+) m$/, "$1") === clean ? clean : Number(parseFloat(clean));
}

/** Give a room another outline. @param {any} item @param {any[]} points @param {string} what */
function reshape(item, points, what) {
  const table = desk.sheet.tables.rooms[item.key];
  return change([...["corner", "size", "at", "diameter"].filter((name) => name in table).map((name) => ({ path: ["rooms", item.key, name], op: "remove" })), { path: ["rooms", item.key, "outline"], op: "set", value: points }], what);
}

// -- corners by dragging ---------------------------------------------------------------------

const shapeButton = need("shape-room");
let shaping = false;
shapeButton.addEventListener("click", () => {
  shaping = !shaping;
  shapeButton.setAttribute("aria-pressed", String(shaping));
  if (shaping) leave();
  handles();
  if (shaping) { need("corners").querySelector("g")?.focus(); say("Drag corners; a dot on a wall makes a new one. Delete takes a corner out."); }
});

function handles() {
  const item = room();
  if (!shaping || !item) { corners.set([]); return; }
  /** @type {number[][]} */
  const ring = item.outline.map((/** @type {number[]} */ p) => [...p]);
  const draw = (/** @type {number[][]} */ now) => {
    const path = need("room-shape").querySelector("[data-outline]");
    path?.setAttribute("d", `${now.map(drawing).map((p, i) => `${i ? "L" : "M"}${p.x} ${p.y}`).join("")}Z`);
  };
  const keep = (/** @type {number[][]} */ now, /** @type {string} */ what) => reshape(item, now.map((p) => p.map((v) => Number(v.toFixed(4)))), what);
  /** @type {import("./hands.js").Handle[]} */
  const list = ring.map((p, n) => ({
    id: `corner-${n}`, label: `Corner ${n + 1} of ${item.label}`, except: item.key,
    mark: '<rect class="knob" x="-5" y="-5" width="10" height="10"/>',
    at: () => p,
    drag: (/** @type {number[]} */ q) => { [p[0], p[1]] = q; draw(ring); },
    keep: () => keep(ring, `corner of ${item.label}`),
    back: () => { [p[0], p[1]] = item.outline[n]; draw(ring); },
    remove: ring.length > 3 ? () => keep(ring.filter((_, m) => m !== n), `corner of ${item.label} taken out`) : undefined,
  }));
  ring.forEach((p, n) => {
    const q = ring[(n + 1) % ring.length];
    const middle = [(p[0] + q[0]) / 2, (p[1] + q[1]) / 2];
    let now = [...middle];
    const made = () => [...ring.slice(0, n + 1), now, ...ring.slice(n + 1)];
    list.push({
      id: `wall-${n}`, label: `New corner on wall ${n + 1} of ${item.label}`, except: item.key, mark: '<circle class="knob" r="4"/>',
      at: () => now,
      drag: (to) => { now = to; draw(made()); },
      keep: () => keep(made(), `new corner of ${item.label}`),
      back: () => { now = [...middle]; draw(ring); },
    });
  });
  corners.set(list);
}
onSurvey(handles);
