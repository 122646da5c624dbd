// @ts-check
/** What the parts of the survey sheet share: its data, where things are on the drawing, changes. */
import { ask, data, here, length, need } from "./api.js";
import { say, tell } from "./page.js";
import { Underlay } from "./underlay.js";
import { View } from "./view.js";

export const NS = "http://www.w3.org/2000/svg";
export const board = need("board");
export const select = /** @type {HTMLSelectElement} */ (need("room"));
export const view = new View(board, /** @type {SVGSVGElement} */ (/** @type {unknown} */ (need("plan"))), () => { underlay.draw(); for (const done of viewed) done(); });

/** @type {{sheet: any, place: any, revision: number}} */
export const desk = { sheet: data(), place: JSON.parse(need("drawing").textContent || "{}"), revision: 0 };
desk.revision = desk.sheet.revision;

export const underlay = new Underlay(/** @type {HTMLCanvasElement} */ (need("under-lines")), view, () => desk.place, desk.sheet.underlays || []);

/** @type {(() => void)[]} */
const viewed = [];
/** @type {(() => void)[]} */
const redrawn = [];
/** @param {() => void} done called when the view moves */
export function onView(done) { viewed.push(done); }
/** @param {() => void} done called when the survey is another one */
export function onSurvey(done) { redrawn.push(done); }

export const IMPERIAL = document.body.dataset.imperial === "1";
export const STEP = IMPERIAL ? 0.3048 / 2 : 0.1;

/** @param {{x: number, y: number}} p on the drawing @returns {number[]} in metres */
export const metres = (p) => [desk.place.origin_m[0] + (p.x - desk.place.at[0]) / desk.place.mm_per_m, desk.place.origin_m[1] - (p.y - desk.place.at[1]) / desk.place.mm_per_m];
/** @param {number[]} p in metres @returns {{x: number, y: number}} on the drawing */
export const drawing = (p) => ({ x: desk.place.at[0] + (p[0] - desk.place.origin_m[0]) * desk.place.mm_per_m, y: desk.place.at[1] - (p[1] - desk.place.origin_m[1]) * desk.place.mm_per_m });
/** @returns {number} metres that so many pixels of the screen are */
export const reach = (/** @type {number} */ pixels) => pixels / view.scale / desk.place.mm_per_m;

/** @returns {any} the room in hand */
export const room = () => desk.sheet.rooms.find((/** @type {any} */ item) => item.key === select.value);
/** @returns {any[]} rooms that are drawn */
export const drawn = () => desk.sheet.rooms.filter((/** @type {any} */ item) => item.storey === desk.place.storey);

/**
 * Snap to ends, crossings and lines of the plan, to corners of rooms, else to right angles and a step.
 * @param {number[]} p @param {number[] | null} last @param {string} [except] a room whose corners do not catch
 * @returns {{at: number[], kind: string}}
 */
export function snapped(p, last, except = "") {
  const caught = underlay.catches(p, reach(12));
  if (caught && caught.kind !== "line") return caught;
  const corners = drawn().filter((item) => item.key !== except).flatMap((item) => item.outline);
  for (const corner of corners) if (Math.hypot(corner[0] - p[0], corner[1] - p[1]) < reach(12)) return { at: [...corner], kind: "corner" };
  if (caught) return caught;
  const q = [Math.round(p[0] / STEP) * STEP, Math.round(p[1] / STEP) * STEP];
  for (const corner of corners) for (const axis of [0, 1]) if (Math.abs(corner[axis] - p[axis]) < Math.min(STEP * 0.7, reach(12))) q[axis] = corner[axis];
  if (last) {
    if (Math.abs(q[0] - last[0]) < Math.abs(q[1] - last[1]) * 0.15) q[0] = last[0];
    else if (Math.abs(q[1] - last[1]) < Math.abs(q[0] - last[0]) * 0.15) q[1] = last[1];
  }
  return { at: q, kind: "" };
}

const ARROWS = /** @type {Record<string, number[]>} */ ({ ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] });

/**
 * Where an arrow key leads: a step (ten with Shift, a tenth with Alt), stopped by lines of the plan.
 * @param {number[]} p @param {KeyboardEvent} event @returns {number[] | null} nothing for other keys
 */
export function stepped(p, event) {
  const way = ARROWS[event.key];
  if (!way) return null;
  const far = STEP * (event.shiftKey ? 10 : event.altKey ? 0.1 : 1);
  return underlay.stop(p, way, far) || [p[0] + way[0] * far, p[1] + way[1] * far].map((v) => Number(v.toFixed(4)));
}

/** @param {number[]} p @returns {string} */
export const placeWords = (p) => `${length(p[0])}, ${length(p[1])}`;

/**
 * Keep changes of the survey, and draw it as it stands then.
 * @param {any[]} edits @param {string} what @param {string} [key] of the room in hand afterwards
 * @returns {Promise<boolean>} whether they were kept
 */
export async function change(edits, what, key = select.value) {
  return send("/survey", { edits, what }, () => key, `Kept: ${what}`);
}

/**
 * @param {string} path below the job @param {Record<string, any>} body
 * @param {(answer: any) => string} key of the room in hand afterwards @param {string} said
 * @returns {Promise<boolean>} whether it was kept
 */
export async function send(path, body, key, said) {
  try {
    const answer = await ask("POST", `${here}${path}`, { ...body, revision: desk.revision });
    desk.revision = answer.revision;
    await refresh(key(answer));
    say([said, ...(answer.told || [])].join("; "));
    return true;
  } catch (error) {
    for (const done of redrawn) done(); // what was dragged goes back
    tell(error, async () => { desk.revision = (await ask("GET", `${here}/survey`)).revision; send(path, body, key, said); });
    return false;
  }
}

/** Draw the survey as it stands now. @param {string} key of the room in hand */
export async function refresh(key) {
  const focus = /** @type {HTMLElement | null} */ (document.activeElement);
  const name = focus?.closest("label")?.firstChild?.textContent || "";
  const id = focus?.dataset?.id || "";
  const fresh = await ask("GET", `${here}/survey`);
  const wanted = fresh.rooms.find((/** @type {any} */ item) => item.key === key) || fresh.rooms[0];
  if (wanted && wanted.storey !== desk.place.storey) {
    location.assign(`${location.pathname}?room=${encodeURIComponent(wanted.key)}`);
    return;
  }
  const storey = wanted ? wanted.storey : desk.place.storey;
  const sheet = await ask("GET", `${here}/survey/drawing?storey=${encodeURIComponent(storey)}`);
  desk.sheet = { ...desk.sheet, ...fresh };
  desk.revision = fresh.revision;
  const grew = sheet.width !== desk.place.width || sheet.height !== desk.place.height || sheet.mm_per_m !== desk.place.mm_per_m || sheet.origin_m.some((/** @type {number} */ v, /** @type {number} */ i) => v !== desk.place.origin_m[i]);
  desk.place = sheet;
  need("under").innerHTML = sheet.drawing;
  if (grew) view.fit({ x: 0, y: 0, w: sheet.width, h: sheet.height });
  options(wanted ? wanted.key : "");
  need("stale").hidden = !fresh.is_stale;
  document.body.dataset.jobRevision = String(fresh.revision);
  /** @type {HTMLButtonElement} */ (need("undo")).disabled = false;
  for (const done of redrawn) done();
  const back = id ? document.querySelector(`[data-id="${CSS.escape(id)}"]`) : name && focus?.isConnected === false ? [...document.querySelectorAll("#forms label")].find((label) => label.firstChild?.textContent === name)?.querySelector("input, select, textarea") : null;
  /** @type {HTMLElement | null} */ (back)?.focus();
}

/** @param {string} key */
function options(key) {
  const storeys = desk.sheet.storeys;
  const groups = storeys.map((/** @type {any} */ storey) => {
    const group = document.createElement("optgroup");
    group.label = storey.label;
    group.append(...desk.sheet.rooms.filter((/** @type {any} */ item) => item.storey === storey.key).map((/** @type {any} */ item) => new Option(item.label, item.key, false, item.key === key)));
    return group;
  });
  if (storeys.length > 1) select.replaceChildren(...groups);
  else select.replaceChildren(...groups.flatMap((/** @type {HTMLElement} */ group) => [...group.children]));
}

select.addEventListener("change", () => {
  const item = room();
  if (item && item.storey !== desk.place.storey) { location.assign(`${location.pathname}?room=${encodeURIComponent(item.key)}`); return; }
  history.replaceState(null, "", `${location.pathname}?room=${encodeURIComponent(select.value)}`);
  for (const done of redrawn) done();
});
