// @ts-check
/** The ceiling: drag a loudspeaker from tile to tile while map, evenness, line and risks answer. */
import { ask, data, Fault, here, job, length, make, need, revision, setRevision } from "./api.js";
import { LevelMap } from "./map.js";
import { change, say, tell } from "./page.js";
import { controls, Underlay } from "./underlay.js";
import { View } from "./view.js";

const NS = "http://www.w3.org/2000/svg";
const sheet = data();
/** @type {any} */
let plan = sheet.plan;
const board = plan ? need("board") : null;

if (board) start(board);

/** @param {HTMLElement} board */
function start(board) {
  const svg = /** @type {SVGSVGElement} */ (/** @type {unknown} */ (need("plan")));
  const shown = /** @type {HTMLSelectElement} */ (need("shown"));
  const map = new LevelMap(/** @type {HTMLCanvasElement} */ (need("map")), plan, sheet.colours);
  const view = new View(board, svg, () => { map.place(view); targets(); underlay.draw(); carry(); });
  const underlay = new Underlay(/** @type {HTMLCanvasElement} */ (need("under-lines")), view, () => plan, sheet.underlays);
  const room = `${here}/rooms/${encodeURIComponent(plan.room)}`;
  /** @type {string} */
  let picked = "";
  /** @type {{key: string, from: {x: number, y: number}, place: any, byKey: boolean, id: number} | null} */
  let held = null;
  let adding = false;
  let busy = false;
  /** @type {{x: number, y: number, asked: number} | null} */
  let wanted = null;

  const over = need("over"); // what moves is a small picture of its own: the large one is not painted anew
  const cell = need("cell");
  let carried = { x: 0, y: 0, r: 0 };

  /** @param {string} key */
  const unit = (key) => plan.units.find((/** @type {any} */ item) => item.key === key);
  /** @param {string} key @returns {SVGGElement | null} */
  const group = (key) => svg.querySelector(`.unit[data-key="${CSS.escape(key)}"]`);
  /** @param {string} key @returns {SVGGElement | null} */
  const lettering = (key) => svg.querySelector(`[data-name="${CSS.escape(key)}"]`);
  /** @param {{x: number, y: number}} p */
  const metres = (p) => ({
    x: plan.origin_m[0] + (p.x - plan.at[0]) / plan.mm_per_m,
    y: plan.origin_m[1] - (p.y - plan.at[1]) / plan.mm_per_m,
  });
  /** @param {number} x @param {number} y */
  const drawing = (x, y) => ({
    x: plan.at[0] + (x - plan.origin_m[0]) * plan.mm_per_m,
    y: plan.at[1] - (y - plan.origin_m[1]) * plan.mm_per_m,
  });

  /** Touch targets of 44 px at any zoom, as far as neighbours allow. */
  function targets() {
    const least = 22 / view.scale;
    svg.querySelectorAll(".unit").forEach((element) => {
      const item = unit(/** @type {SVGElement} */ (element).dataset.key || "");
      if (!item) return;
      element.querySelector(".touch")?.setAttribute("r", String(Math.max(least, item.radius + 1)));
    });
  }

  // -- map and figures ---------------------------------------------------------------------

  function measure() { return shown.value; }
  /** The measure that follows a finger; clarity and bass are drawn when it rests. */
  function live() { return ["sti", "low end"].includes(shown.value) ? "" : shown.value; }

  async function drawMap() {
    const name = measure();
    board.classList.toggle("mapped", Boolean(name));
    need("map").hidden = !name;
    need("legend").hidden = !name;
    need("ears").hidden = !name;
    if (!plan.units.length) return;
    try {
      const answer = await ask("GET", `${room}/map?measure=${encodeURIComponent(name || sheet.measure)}`);
      figure(answer.state, false);
      if (!name) return;
      map.set(answer.map);
      afterMap();
    } catch (error) {
      if (error instanceof Fault && error.status === 400) return;
      tell(error);
    }
  }

  function afterMap() {
    map.place(view);
    map.legend(/** @type {HTMLCanvasElement} */ (need("scale")), need("legend-words"));
    map.curve(/** @type {HTMLCanvasElement} */ (need("curve")), need("curve-words"));
  }

  /** @param {any} state @param {boolean} moving */
  function figure(state, moving) {
    const line = need("even");
    line.hidden = false;
    const half = state.spread_db / 2;
    const name = live() || sheet.measure;
    const judged = name === sheet.measure;
    const verdict = judged ? (half <= sheet.evenness_db + 0.005 ? "met" : "missed") : "open";
    line.replaceChildren(
      make("span", { class: `verdict ${verdict}` }, `±${state.half_text} dB`),
      ` over 95 % of the ears, ${name}${judged ? ` (asked ±${sheet.evenness_db} dB)` : ""}, ${state.level_dba.toFixed(1)} dBA with the line filled${moving ? " · while you hold it" : ""}`,
    );
  }

  /** @param {any} line @param {string} key */
  function lineFigure(line, key) {
    const card = need("line");
    card.hidden = !line;
    if (!line) return;
    card.replaceChildren(make("h2", {}, `Line ${line.label}`), facts([
      ["Taps", `${line.load_w} W, drawn ${line.drawn_w} W`], ["At the rack", `${line.ohm} Ω`],
      ["Worst loss", `${line.worst_loss_db.toFixed(2)} dB`], ["Cable", length(line.length_m)],
      ...(line.volts_here === null ? [] : [["Here", `${line.volts_here.toFixed(1)} V, ${line.loss_here_db.toFixed(2)} dB`]]),
    ]));
    void key;
  }

  /** @param {(string|null)[][]} rows */
  function facts(rows) {
    const list = make("dl", { class: "facts" });
    for (const [name, value] of rows) if (value) list.append(make("dt", {}, name || ""), make("dd", {}, value));
    return list;
  }

  async function risks() {
    const card = need("risks");
    try {
      const answer = await ask("GET", `${here}/findings`);
      const keys = new Set(plan.units.map((/** @type {any} */ item) => item.key));
      const mine = answer.findings.filter((/** @type {any} */ item) => item.severity !== "note" && (keys.has(item.place_key) || item.room_key === plan.room || item.place_key === plan.room));
      const rest = answer.findings.filter((/** @type {any} */ item) => item.severity !== "note").length - mine.length;
      card.replaceChildren(make("h2", {}, "Against it"), ...mine.slice(0, 8).map((/** @type {any} */ item) => make("p", {},
        make("span", { class: `sev ${item.severity}` }, item.severity), " ", make("b", {}, item.place), ` ${item.what}`)));
      if (!mine.length) card.append(make("p", { class: "soft" }, "Nothing that stops or warns in this room."));
      card.append(make("p", {}, make("a", { class: "button", href: `/jobs/${job}/check` }, `All findings${rest ? ` (${rest} elsewhere)` : ""}`)));
      svg.querySelectorAll(".wrong").forEach((element) => element.remove());
      for (const item of mine) {
        const target = group(item.place_key);
        if (!target || target.querySelector(".wrong")) continue;
        const r = unit(item.place_key).radius;
        const mark = document.createElementNS(NS, "path");
        mark.setAttribute("class", "wrong");
        mark.setAttribute("d", `M${r} ${-r - 3.4}l2 3.4h-4zM${r} ${-r - 2.2}v1.1`);
        target.append(mark);
      }
    } catch (error) {
      card.replaceChildren(make("h2", {}, "Against it"), make("p", { class: "soft" }, error instanceof Fault ? error.error.what : String(error)));
    }
  }

  // -- one loudspeaker ---------------------------------------------------------------------

  /** @param {string} key */
  function pick(key) {
    picked = key;
    svg.querySelectorAll(".unit").forEach((element) => element.classList.toggle("picked", /** @type {SVGElement} */ (element).dataset.key === key));
    const card = need("unit");
    const item = unit(key);
    card.hidden = !item;
    if (!item) return;
    const taps = make("select", { id: "tap", onchange: (/** @type {Event} */ event) => edit("tap", key, /** @type {HTMLSelectElement} */ (event.target).value) },
      ...item.taps.map((/** @type {string} */ text) => make("option", { selected: text === item.tap_text, value: text }, text)));
    const types = make("select", { id: "type", onchange: (/** @type {Event} */ event) => edit("type", key, /** @type {HTMLSelectElement} */ (event.target).value) },
      ...sheet.types.map((/** @type {any} */ entry) => make("option", { selected: entry.id === item.type_id, value: entry.id }, entry.name)));
    card.replaceChildren(
      make("h2", {}, item.label, item.is_fixed ? make("span", { class: "stamp" }, "fixed by hand") : null),
      facts([["Tile", item.tile_text], ["Place", item.place_text], ["Line", `${item.line}: ${item.volts.toFixed(1)} V, ${item.loss_db.toFixed(2)} dB, ${item.arrives_w} W arrive`],
        ["At", `${length(item.at_m[0])}, ${length(item.at_m[1])}`]]),
      make("label", { class: "field" }, "Tap", taps), make("label", { class: "field" }, "Type", types),
      make("p", { class: "actions" },
        make("button", { type: "button", onclick: () => edit(item.is_fixed ? "unlock" : "lock", key, "") }, item.is_fixed ? "Let it go" : "Fix it"),
        make("button", { type: "button", "aria-keyshortcuts": "Delete", onclick: () => edit("remove", key, "") }, "Take it out")),
      make("p", { class: "soft" }, "Drag it, or move it by arrow keys and keep it by Enter. What a hand decides stays fixed when the design runs again."),
    );
  }

  /** @param {string} kind @param {string} target @param {string} value */
  async function edit(kind, target, value) {
    await change(`${here}/edits`, { edits: [{ kind, target, value }] }, () => redraw(kind === "remove" ? "" : target));
  }

  /** Draw the plan as it stands now. @param {string} focus */
  async function redraw(focus) {
    try {
      const fresh = await ask("GET", `${room}/plan`);
      plan = fresh;
      setRevision(fresh.revision);
      need("floor").innerHTML = fresh.floor;
      need("under").innerHTML = fresh.under;
      need("names").replaceChildren();
      need("names").innerHTML = fresh.units.map((/** @type {any} */ item) => `<g data-name="${item.key}">${item.name}</g>`).join("");
      need("units").innerHTML = fresh.units.map((/** @type {any} */ item) => `<g class="unit" data-key="${item.key}" tabindex="0" role="button" transform="translate(${item.x} ${item.y})"><circle class="touch" r="4"/><circle class="ring" r="${item.radius + 1.4}"/>${item.symbol}</g>`).join("");
      for (const item of fresh.units) group(item.key)?.setAttribute("aria-label", item.words);
      need("brief").replaceChildren(...fresh.brief.map((/** @type {any} */ row) => make("tr", { class: row.verdict },
        make("th", { scope: "row" }, row.what), make("td", {}, row.got, row.asked ? make("br") : null, row.asked ? make("small", {}, `asked ${row.asked}`) : null),
        make("td", {}, make("span", { class: `verdict ${row.verdict}` }, row.verdict)))));
      /** @type {HTMLButtonElement} */ (need("undo")).disabled = false;
      targets();
      pick(focus);
      if (focus) group(focus)?.focus();
      say(`Kept as revision ${fresh.revision}; Undo takes it back.`);
      await drawMap();
      risks();
    } catch (error) {
      tell(error);
    }
  }

  // -- dragging ----------------------------------------------------------------------------

  /** @param {{x: number, y: number}} place in metres @param {number} asked when the hand moved */
  async function follow(place, asked) {
    wanted = { ...place, asked };
    if (busy || !held) return;
    busy = true;
    while (wanted && held) {
      const { x, y, asked: since } = wanted;
      wanted = null;
      const { key } = held;
      try {
        const answer = await ask("POST", `${room}/drag`, { key, x, y, revision: revision(), measure: live() || sheet.measure });
        if (held && held.key === key) answered(answer, since);
      } catch (error) {
        if (held) drop(false);
        tell(error, () => location.reload());
      }
    }
    busy = false;
  }

  /** @param {any} answer @param {number} since when the hand had moved */
  function answered(answer, since) {
    if (!held) return;
    held.place = answer;
    const at = drawing(answer.at_m[0], answer.at_m[1]);
    const refused = !answer.is_place || answer.against.length > 0;
    over.querySelector("g")?.classList.toggle("refused", refused);
    if (held.byKey || answer.tile) carry(at);
    mark(answer, at);
    figure(answer.state, true);
    lineFigure(answer.line, held.key);
    const words = [answer.tile ? `tile ${answer.tile.join(", ")}` : "", ...answer.against].filter(Boolean).join("; ");
    const pointer = need("under-pointer");
    pointer.hidden = !words;
    pointer.textContent = words;
    if (held.byKey) say(`${words || "here"}, ±${answer.state.half_text} dB. Enter keeps it, Escape puts it back.`);
    if (live()) {
      map.set(answer.map, true);
      map.place(view);
      painted(since);
    }
  }

  /** Note how long it took from the hand to the frame that shows the new map. @param {number} since */
  function painted(since) {
    requestAnimationFrame(() => {
      const channel = new MessageChannel(); // comes after this frame's paint
      channel.port1.onmessage = () => performance.measure("soffit-drag", { start: since, end: performance.now() });
      channel.port2.postMessage(0);
    });
  }

  /** Frame the tile in which it would sit. @param {any} answer @param {{x: number, y: number}} at */
  function mark(answer, at) {
    cell.hidden = !answer.tile;
    if (!answer.tile) return;
    const side = 0.6 * plan.mm_per_m * view.scale;
    const { x, y } = view.offset;
    cell.classList.toggle("refused", !answer.is_place);
    cell.style.width = cell.style.height = `${side}px`;
    cell.style.transform = `translate(${x + at.x * view.scale - side / 2}px, ${y + at.y * view.scale - side / 2}px)`;
  }

  /** Show what is held at a place of the drawing. @param {{x: number, y: number}} [at] */
  function carry(at) {
    if (at) { carried.x = at.x; carried.y = at.y; }
    if (over.hidden) return;
    const half = carried.r * view.scale;
    const { x, y } = view.offset;
    over.style.transform = `translate(${x + carried.x * view.scale - half}px, ${y + carried.y * view.scale - half}px)`;
  }

  /** Take a loudspeaker off the drawing and into the hand. @param {any} item */
  function lift(item) {
    const copy = /** @type {SVGGElement | null} */ (group(item.key)?.cloneNode(true) || null);
    if (!copy) return;
    const r = item.radius + 3;
    const side = 2 * r * view.scale;
    const picture = document.createElementNS(NS, "svg");
    for (const [name, value] of Object.entries({ viewBox: `${-r} ${-r} ${2 * r} ${2 * r}`, width: side, height: side, "font-family": "Source Sans Pro, sans-serif" })) picture.setAttribute(name, String(value));
    for (const name of ["tabindex", "data-key", "transform", "role", "aria-label"]) copy.removeAttribute(name);
    copy.setAttribute("class", "unit held");
    picture.append(copy);
    over.replaceChildren(picture);
    over.hidden = false;
    carried = { x: item.x, y: item.y, r };
    carry();
  }

  /** @param {boolean} keep */
  function drop(keep) {
    if (!held) return;
    const { key, place } = held;
    held = null;
    wanted = null;
    cell.hidden = true;
    need("under-pointer").hidden = true;
    const target = group(key);
    target?.classList.remove("lifted");
    over.hidden = true;
    const item = unit(key);
    const moved = place && (Math.abs(place.at_m[0] - item.at_m[0]) > 1e-3 || Math.abs(place.at_m[1] - item.at_m[1]) > 1e-3);
    if (keep && moved && place.is_place) {
      const value = place.tile ? `${place.tile[0]},${place.tile[1]}` : `${place.at_m[0].toFixed(4)} ${place.at_m[1].toFixed(4)}`;
      edit("move", key, value);
      return;
    }
    const name = lettering(key);
    if (name) name.removeAttribute("opacity");
    need("line").hidden = true;
    if (moved && keep) say("No loudspeaker can sit there; it is back where it was.");
    if (moved) drawMap();
  }

  /** @param {string} key @param {boolean} byKey @param {number} id */
  function hold(key, byKey, id) {
    const item = unit(key);
    if (!item || item.state === "existing") { if (item) say(`${item.label} hangs already: it is not moved here.`); return; }
    held = { key, from: { x: item.at_m[0], y: item.at_m[1] }, place: null, byKey, id };
    const target = group(key);
    lift(item);
    target?.classList.add("lifted");
    lettering(key)?.setAttribute("opacity", "0.25");
  }

  svg.addEventListener("pointerdown", (event) => {
    const target = /** @type {Element} */ (event.target).closest(".unit");
    if (!target || event.button > 0 || adding) return;
    event.preventDefault();
    event.stopPropagation();
    const key = /** @type {SVGElement} */ (target).dataset.key || "";
    /** @type {SVGElement} */ (/** @type {unknown} */ (target)).focus();
    pick(key);
    hold(key, false, event.pointerId);
    svg.setPointerCapture(event.pointerId);
  });
  svg.addEventListener("pointermove", (event) => {
    if (!held || held.byKey || held.id !== event.pointerId) return;
    event.preventDefault();
    event.stopPropagation();
    const at = view.at(event);
    carry(at);
    follow(metres(at), performance.now());
  });
  svg.addEventListener("pointerup", (event) => {
    if (!held || held.byKey || held.id !== event.pointerId) return;
    event.stopPropagation();
    settle();
  });
  svg.addEventListener("pointercancel", () => drop(false));

  /** Keep the place once the last answer is in. */
  function settle() {
    if (busy) { setTimeout(settle, 15); return; }
    drop(true);
  }

  board.addEventListener("pointermove", (event) => {
    if (held || !measure()) return;
    const p = metres(view.at(event));
    const value = map.valueAt(p.x, p.y);
    const words = need("under-pointer");
    words.hidden = value === null;
    if (value !== null) words.textContent = `${value} at ${length(p.x)}, ${length(p.y)}`;
  });
  board.addEventListener("pointerleave", () => { if (!held) need("under-pointer").hidden = true; });

  // -- keys --------------------------------------------------------------------------------

  const arrows = /** @type {Record<string, [number, number]>} */ ({ ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] });
  svg.addEventListener("focusin", (event) => {
    const target = /** @type {Element} */ (event.target).closest(".unit");
    if (target) pick(/** @type {SVGElement} */ (target).dataset.key || "");
  });
  svg.addEventListener("focusout", () => { if (held && held.byKey) drop(false); });
  svg.addEventListener("keydown", (event) => {
    const target = /** @type {Element} */ (event.target).closest(".unit");
    if (!target) return;
    const key = /** @type {SVGElement} */ (target).dataset.key || "";
    const item = unit(key);
    if (arrows[event.key]) {
      event.preventDefault();
      if (!held) hold(key, true, -1);
      if (!held) return;
      const step = arrows[event.key];
      const from = held.place ? held.place.at_m : item.at_m;
      const near = neighbour(item, from, step);
      if (near) { held.place = { ...(held.place || {}), at_m: [near.x, near.y], state: null }; follow(near, performance.now()); }
    } else if (event.key === "Enter" && held) {
      event.preventDefault();
      settle();
    } else if (event.key === "Escape" && held) {
      event.preventDefault();
      drop(false);
    } else if (event.key === "Delete") {
      event.preventDefault();
      edit("remove", key, "");
    }
  });

  /** The next tile in a direction, or a step of 0.1 m where there is no grid. @param {any} item @param {number[]} from @param {[number, number]} step */
  function neighbour(item, from, step) {
    const ceiling = plan.ceilings.find((/** @type {any} */ entry) => entry.ceiling === item.ceiling);
    if (!ceiling || !ceiling.tiles.length) return { x: from[0] + step[0] * 0.1, y: from[1] + step[1] * 0.1 };
    let best = null;
    let least = Infinity;
    for (const [, , x, y] of ceiling.tiles) {
      const dx = x - from[0], dy = y - from[1];
      const along = dx * step[0] + dy * step[1], across = Math.abs(dx * step[1]) + Math.abs(dy * step[0]);
      if (along < 0.05 || across > along) continue;
      const far = along + 2 * across;
      if (far < least) { least = far; best = { x, y }; }
    }
    return best;
  }

  // -- adding ------------------------------------------------------------------------------

  const addButton = need("add");
  addButton.addEventListener("click", () => {
    adding = !adding;
    addButton.setAttribute("aria-pressed", String(adding));
    board.classList.toggle("adds", adding);
    const card = need("unit");
    if (!adding) { card.hidden = true; return; }
    picked = "";
    card.hidden = false;
    const last = plan.units[0];
    card.replaceChildren(make("h2", {}, "Add a loudspeaker"),
      make("label", { class: "field" }, "Type", make("select", { id: "add-type", onchange: fillTaps }, ...sheet.types.map((/** @type {any} */ entry) => make("option", { value: entry.id, selected: last && entry.id === last.type_id }, entry.name)))),
      make("label", { class: "field" }, "Tap", make("select", { id: "add-tap" })),
      make("label", { class: "field" }, "Tile, or x y in metres", make("input", { id: "add-place", placeholder: "4,7  or  3.2 5.4" })),
      make("p", { class: "actions" }, make("button", { type: "button", class: "main", onclick: () => addAt(/** @type {HTMLInputElement} */ (need("add-place")).value.trim()) }, "Add it there")),
      make("p", { class: "soft" }, "Or press on the tile where it should hang."));
    fillTaps();
  });

  function fillTaps() {
    const type = /** @type {HTMLSelectElement} */ (need("add-type")).value;
    const entry = sheet.types.find((/** @type {any} */ item) => item.id === type);
    need("add-tap").replaceChildren(...entry.taps.map((/** @type {string} */ tap) => make("option", { value: tap }, tap.replace("W", " W"))));
  }

  /** @param {string} place */
  function addAt(place) {
    const type = /** @type {HTMLSelectElement} */ (need("add-type")).value;
    const tap = /** @type {HTMLSelectElement} */ (need("add-tap")).value;
    const known = new Set(plan.units.map((/** @type {any} */ item) => item.key));
    change(`${here}/edits`, { edits: [{ kind: "add", target: plan.room, value: `${type} ${tap} ${place}` }] }, async () => {
      addButton.click();
      await redraw("");
      const fresh = plan.units.find((/** @type {any} */ item) => !known.has(item.key));
      if (fresh) group(fresh.key)?.focus();
    });
  }

  board.addEventListener("click", (event) => {
    if (!adding) return;
    const p = metres(view.at(event));
    addAt(`${p.x.toFixed(4)} ${p.y.toFixed(4)}`);
  });

  // -- begin -------------------------------------------------------------------------------

  document.addEventListener("soffit-paper", () => { if (measure()) afterMap(); });
  shown.value = sessionStorage.getItem("soffit-shown") ?? (plan.units.length ? sheet.measure : "");
  if (shown.selectedIndex < 0) shown.value = sheet.measure;
  shown.addEventListener("change", () => { sessionStorage.setItem("soffit-shown", shown.value); drawMap(); });
  targets();
  controls(underlay, tell);
  if (sheet.pick && unit(sheet.pick)) { pick(sheet.pick); group(sheet.pick)?.focus(); }
  void picked;
  drawMap().then(risks);
}
