// @ts-check
/** A read plan under the rooms: lines or a picture on a canvas, and places on the lines that catch. */
import { askBytes, here } from "./api.js";

/**
 * @typedef {{mark: string, kind: "lines" | "picture", name: string, storey: string, count: number, box: number[], place: number[] | null}} Item
 * @typedef {{mm_per_m: number, origin_m: number[], at: number[]}} Placing
 * @typedef {{at: number[], kind: "end" | "crossing" | "line"}} Caught
 */

const CELL = 1; // metres
const MOST_PAIRS = 64;

export class Underlay {
  /**
   * @param {HTMLCanvasElement} canvas @param {import("./view.js").View} view
   * @param {() => Placing} placing @param {Item[]} items
   */
  constructor(canvas, view, placing, items) {
    this.canvas = canvas;
    this.view = view;
    this.placing = placing;
    this.items = items;
    /** @type {Float64Array} x1, y1, x2, y2 of each line in metres */
    this.ends = new Float64Array(0);
    /** @type {Map<number, number[]>} lines by cell */
    this.cells = new Map();
    /** @type {HTMLImageElement | null} */
    this.image = null;
    /** @type {Item | null} */
    this.item = null;
    this.dim = 0.6;
    this.waits = false;
  }

  /** Show one of them, or none. @param {string} mark */
  async show(mark) {
    const item = this.items.find((entry) => entry.mark === mark) || null;
    this.item = item;
    this.ends = new Float64Array(0);
    this.cells = new Map();
    this.image = null;
    this.canvas.hidden = !item;
    this.view.board.classList.toggle("underlaid", Boolean(item));
    if (!item) return;
    const address = `${here}/underlays/${item.mark}`;
    if (item.kind === "picture") {
      const image = new Image();
      image.src = address;
      await image.decode();
      if (this.item === item) this.image = image;
    } else {
      const packed = new Int32Array(await askBytes(address));
      if (this.item === item) { this.ends = unpacked(packed); this.index(); }
    }
    this.canvas.classList.toggle("picture", item.kind === "picture");
    this.canvas.dataset.shown = mark;
    this.draw();
  }

  /** Draw it once the frame comes, however often it is asked for. */
  draw() {
    if (this.waits) return;
    this.waits = true;
    requestAnimationFrame(() => { this.waits = false; this.paint(); });
  }

  paint() {
    const { canvas, view } = this;
    if (canvas.hidden) return;
    const ratio = devicePixelRatio || 1;
    const w = Math.round(view.board.clientWidth * ratio), h = Math.round(view.board.clientHeight * ratio);
    if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
    const context = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.clearRect(0, 0, w, h);
    const { mm_per_m: s, origin_m: o, at } = this.placing();
    const pixel = view.scale * s * ratio;
    const { x, y } = view.offset;
    // a plan point p falls on left + p.x * pixel, top - p.y * pixel
    const left = (x + at[0] * view.scale) * ratio - o[0] * pixel, top = (y + at[1] * view.scale) * ratio + o[1] * pixel;
    context.globalAlpha = this.dim;
    if (this.image && this.item?.place) {
      const [px, py, size, turn, across, up] = this.item.place;
      context.translate(left + px * pixel, top - py * pixel);
      context.rotate(-turn);
      context.drawImage(this.image, 0, -up * size * pixel, across * size * pixel, up * size * pixel);
      return;
    }
    context.strokeStyle = getComputedStyle(document.documentElement).getPropertyValue("--soft");
    context.lineWidth = ratio;
    context.beginPath();
    const e = this.ends;
    for (let i = 0; i < e.length; i += 4) {
      context.moveTo(left + e[i] * pixel, top - e[i + 1] * pixel);
      context.lineTo(left + e[i + 2] * pixel, top - e[i + 3] * pixel);
    }
    context.stroke();
  }

  index() {
    const e = this.ends;
    for (let i = 0; i < e.length; i += 4) {
      const dx = e[i + 2] - e[i], dy = e[i + 3] - e[i + 1];
      const n = Math.max(1, Math.ceil(Math.hypot(dx, dy) / (CELL / 2)));
      let last = NaN;
      for (let k = 0; k <= n; k += 1) {
        const key = cell(e[i] + (dx * k) / n, e[i + 1] + (dy * k) / n);
        if (key === last) continue;
        last = key;
        const held = this.cells.get(key);
        if (!held) this.cells.set(key, [i]);
        else if (held[held.length - 1] !== i) held.push(i);
      }
    }
  }

  /** @param {number} x @param {number} y @param {number} reach @returns {number[]} lines that may be near */
  near(x, y, reach) {
    const found = new Set();
    for (let cx = Math.floor((x - reach) / CELL) - 1; cx <= Math.floor((x + reach) / CELL) + 1; cx += 1) {
      for (let cy = Math.floor((y - reach) / CELL) - 1; cy <= Math.floor((y + reach) / CELL) + 1; cy += 1) {
        for (const i of this.cells.get(cx * 100_003 + cy) || []) found.add(i);
      }
    }
    return [...found];
  }

  /** The place of the plan that catches: an end or a crossing before a line. @param {number[]} p @param {number} reach metres @returns {Caught | null} */
  catches(p, reach) {
    const e = this.ends;
    /** @type {{i: number, far: number, foot: number[]}[]} */
    const close = [];
    /** @type {Caught | null} */
    let best = null;
    let least = reach;
    for (const i of this.near(p[0], p[1], reach)) {
      for (const at of [[e[i], e[i + 1]], [e[i + 2], e[i + 3]]]) {
        const far = Math.hypot(at[0] - p[0], at[1] - p[1]);
        if (far < least) { least = far; best = { at, kind: "end" }; }
      }
      const foot = onto(e, i, p);
      const far = Math.hypot(foot[0] - p[0], foot[1] - p[1]);
      if (far < reach) close.push({ i, far, foot });
    }
    close.sort((a, b) => a.far - b.far);
    const few = close.slice(0, Math.floor(Math.sqrt(2 * MOST_PAIRS)));
    for (let a = 0; a < few.length; a += 1) for (let b = a + 1; b < few.length; b += 1) {
      const at = crossing(e, few[a].i, few[b].i);
      if (!at) continue;
      const far = Math.hypot(at[0] - p[0], at[1] - p[1]);
      if (far < least - 1e-6) { least = far; best = { at, kind: "crossing" }; }
    }
    if (best) return best;
    return close.length && close[0].far < reach * 0.7 ? { at: close[0].foot, kind: "line" } : null;
  }

  /** Where a step from a place along an axis is stopped by the plan. @param {number[]} p @param {number[]} way one of four @param {number} far @returns {number[] | null} */
  stop(p, way, far) {
    const e = this.ends;
    let least = far + 1e-9;
    /** @type {number[] | null} */
    let best = null;
    const middle = [p[0] + (way[0] * far) / 2, p[1] + (way[1] * far) / 2];
    for (const i of this.near(middle[0], middle[1], far / 2 + 0.05)) {
      const dx = e[i + 2] - e[i], dy = e[i + 3] - e[i + 1];
      const turn = way[0] * dy - way[1] * dx;
      if (Math.abs(turn) > 1e-9) {
        const t = ((e[i] - p[0]) * dy - (e[i + 1] - p[1]) * dx) / turn;
        const u = ((e[i] - p[0]) * way[1] - (e[i + 1] - p[1]) * way[0]) / turn;
        if (t > 0.004 && t < least && u > -0.001 && u < 1.001) { least = t; best = [p[0] + way[0] * t, p[1] + way[1] * t]; }
        continue;
      }
      for (const [x, y] of [[e[i], e[i + 1]], [e[i + 2], e[i + 3]]]) {
        const t = (x - p[0]) * way[0] + (y - p[1]) * way[1];
        const off = Math.abs((x - p[0]) * way[1] - (y - p[1]) * way[0]);
        if (off < 0.02 && t > 0.004 && t < least) { least = t; best = [p[0] + way[0] * t, p[1] + way[1] * t]; }
      }
    }
    return best;
  }
}

/** @param {number} x @param {number} y */
function cell(x, y) { return Math.floor(x / CELL) * 100_003 + Math.floor(y / CELL); }

/** @param {Int32Array} packed steps, a column after the other @returns {Float64Array} */
function unpacked(packed) {
  const n = packed.length / 4;
  const ends = new Float64Array(packed.length);
  for (let column = 0; column < 4; column += 1) {
    let sum = 0;
    for (let row = 0; row < n; row += 1) {
      sum += packed[column * n + row];
      ends[row * 4 + column] = (column > 1 ? ends[row * 4 + column - 2] * 1000 + sum : sum) / 1000;
    }
  }
  return ends;
}

/** @param {Float64Array} e @param {number} i @param {number[]} p @returns {number[]} nearest place of a line */
function onto(e, i, p) {
  const dx = e[i + 2] - e[i], dy = e[i + 3] - e[i + 1];
  const t = Math.max(0, Math.min(1, ((p[0] - e[i]) * dx + (p[1] - e[i + 1]) * dy) / (dx * dx + dy * dy || 1)));
  return [e[i] + dx * t, e[i + 1] + dy * t];
}

/** @param {Float64Array} e @param {number} i @param {number} j @returns {number[] | null} where two lines cross */
function crossing(e, i, j) {
  const ax = e[i + 2] - e[i], ay = e[i + 3] - e[i + 1], bx = e[j + 2] - e[j], by = e[j + 3] - e[j + 1];
  const turn = ax * by - ay * bx;
  if (Math.abs(turn) < 1e-9) return null;
  const t = ((e[j] - e[i]) * by - (e[j + 1] - e[i + 1]) * bx) / turn;
  const u = ((e[j] - e[i]) * ay - (e[j + 1] - e[i + 1]) * ax) / turn;
  return t < -0.001 || t > 1.001 || u < -0.001 || u > 1.001 ? null : [e[i] + ax * t, e[i + 1] + ay * t];
}

/**
 * Let a person choose what lies under the rooms and how strong it is; the browser remembers it.
 * @param {Underlay} underlay @param {(error: unknown) => void} failed
 */
export function controls(underlay, failed) {
  const select = /** @type {HTMLSelectElement | null} */ (document.getElementById("underlay"));
  const dim = /** @type {HTMLInputElement | null} */ (document.getElementById("dim"));
  if (!select || !dim) return;
  const name = `soffit-underlay-${document.body.dataset.job}`;
  const storey = underlay.items[0]?.storey || "";
  const kept = localStorage.getItem(`${name}-${storey}`);
  if (kept !== null && [...select.options].some((option) => option.value === kept)) select.value = kept;
  dim.value = localStorage.getItem(`${name}-dim`) || "60";
  const show = () => { dim.disabled = !select.value; underlay.show(select.value).catch(failed); };
  const fade = () => { underlay.dim = Number(dim.value) / 100; underlay.draw(); };
  select.addEventListener("change", () => { localStorage.setItem(`${name}-${storey}`, select.value); show(); });
  dim.addEventListener("input", () => { localStorage.setItem(`${name}-dim`, dim.value); fade(); });
  document.addEventListener("soffit-paper", () => underlay.draw());
  fade();
  show();
}
