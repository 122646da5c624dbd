// @ts-check
/** The level map: bands of one decibel with a line between them, a legend, numbers under the pointer. */

/**
 * @typedef {{x0_m: number, y0_m: number, step_m: number, columns: number, rows: number,
 *   floor: number, per_band: number, band: number, outside: number, measure: string, unit: string, cells: string, note?: string}} Packed
 * @typedef {{mm_per_m: number, origin_m: number[], at: number[], rings: number[][][]}} Placing
 */

/** Pixels of a map that follows a finger, and of one at rest. */
const MOVING = 150_000;
const RESTING = 560_000;

export class LevelMap {
  /**
   * @param {HTMLCanvasElement} canvas @param {Placing} placing
   * @param {number[][]} colours dark to light, one a band
   */
  constructor(canvas, placing, colours) {
    this.canvas = canvas;
    this.placing = placing;
    this.stops = colours;
    this.colours = colours;
    /** @type {Packed | null} */
    this.packed = null;
    this.values = new Float32Array(0);
    this.low = 0;
    this.factor = 1;
  }

  /** @param {Packed} packed @param {boolean} [quick] coarser, while a finger moves */
  set(packed, quick = false) {
    const bytes = Uint8Array.from(atob(packed.cells), (letter) => letter.charCodeAt(0));
    const first = !this.packed || this.packed.measure !== packed.measure;
    this.packed = packed;
    this.inside = bytes;
    this.values = filled(bytes, packed);
    let high = -Infinity, low = Infinity;
    for (let i = 0; i < bytes.length; i += 1) {
      if (bytes[i] === packed.outside) continue;
      if (this.values[i] > high) high = this.values[i];
      if (this.values[i] < low) low = this.values[i];
    }
    if (first || !quick) {
      const bands = Math.min(Math.max(Math.ceil(high) - Math.floor(low), 3), this.stops.length);
      this.low = Math.ceil(high) - bands;
      this.colours = Array.from({ length: bands }, (_, i) => mixed(this.stops, i / (bands - 1)));
    }
    this.paint(quick ? MOVING : RESTING);
  }

  /** @param {number} most pixels */
  paint(most) {
    const p = this.packed;
    if (!p) return;
    const f = Math.max(1, Math.min(16, Math.floor(Math.sqrt(most / (p.columns * p.rows)))));
    const w = (p.columns - 1) * f + 1, h = (p.rows - 1) * f + 1;
    if (this.canvas.width !== w || this.canvas.height !== h) { this.canvas.width = w; this.canvas.height = h; }
    this.factor = f;
    const context = /** @type {CanvasRenderingContext2D} */ (this.canvas.getContext("2d"));
    const image = context.createImageData(w, h);
    const pixels = new Uint32Array(image.data.buffer);
    const last = this.colours.length - 1;
    const ink = this.colours.map(([r, g, b]) => (255 << 24) | (b << 16) | (g << 8) | r);
    const edge = this.colours.map(([r, g, b]) => (255 << 24) | ((b * 0.62) << 16) | ((g * 0.62) << 8) | (r * 0.62));
    const v = this.values, columns = p.columns;
    let above = new Int8Array(w);
    let current = new Int8Array(w);
    for (let y = 0; y < h; y += 1) {
      const r0 = Math.min(Math.floor(y / f), p.rows - 1), r1 = Math.min(r0 + 1, p.rows - 1), ty = y / f - r0;
      const row = (h - 1 - y) * w; // y of the plan goes up
      for (let x = 0; x < w; x += 1) {
        const c0 = Math.min((x / f) | 0, columns - 1), c1 = Math.min(c0 + 1, columns - 1), tx = x / f - c0;
        const a = v[r0 * columns + c0], b = v[r0 * columns + c1], c = v[r1 * columns + c0], d = v[r1 * columns + c1];
        const level = (a + (b - a) * tx) * (1 - ty) + (c + (d - c) * tx) * ty;
        const band = Math.max(0, Math.min(last, Math.floor(level - this.low)));
        current[x] = band;
        const line = (x > 0 && current[x - 1] !== band) || (y > 0 && above[x] !== band);
        pixels[row + x] = line ? edge[band] : ink[band];
      }
      [above, current] = [current, above];
    }
    context.putImageData(image, 0, 0);
    this.clip(context, w, h);
  }

  /** Cut what lies outside the walls. @param {CanvasRenderingContext2D} context @param {number} w @param {number} h */
  clip(context, w, h) {
    const p = /** @type {Packed} */ (this.packed);
    const f = this.factor, { rings } = this.placing;
    const left = this.toDrawing(p.x0_m, p.y0_m + (p.rows - 1) * p.step_m);
    const scale = f / (p.step_m * this.placing.mm_per_m);
    context.globalCompositeOperation = "destination-in";
    context.beginPath();
    for (const ring of rings) {
      ring.forEach(([x, y], index) => {
        const px = (x - left.x) * scale + 0.5, py = (y - left.y) * scale + 0.5;
        if (index) context.lineTo(px, py); else context.moveTo(px, py);
      });
      context.closePath();
    }
    context.fill("evenodd");
    context.globalCompositeOperation = "source-over";
    void w; void h;
  }

  /** @param {number} x @param {number} y in metres @returns {{x: number, y: number}} in millimetres of the drawing */
  toDrawing(x, y) {
    const { mm_per_m: s, origin_m: o, at } = this.placing;
    return { x: at[0] + (x - o[0]) * s, y: at[1] - (y - o[1]) * s };
  }

  /** Lay the canvas under the drawing. @param {import("./view.js").View} view */
  place(view) {
    const p = this.packed;
    if (!p) return;
    const half = p.step_m / this.factor / 2;
    const corner = this.toDrawing(p.x0_m - half, p.y0_m + (p.rows - 1) * p.step_m + half);
    const pixel = (p.step_m * this.placing.mm_per_m) / this.factor * view.scale;
    const { x, y } = view.offset;
    this.canvas.style.transform = `translate(${x + corner.x * view.scale}px, ${y + corner.y * view.scale}px) scale(${pixel})`;
  }

  /** @param {number} bands @returns {string} a value as people read it */
  words(bands) {
    const p = /** @type {Packed} */ (this.packed);
    return `${(bands * p.band).toFixed(p.band < 1 ? 2 : 1)} ${p.unit}`.trim();
  }

  /** @param {number} x @param {number} y in metres @returns {string | null} value there */
  valueAt(x, y) {
    const p = this.packed;
    if (!p) return null;
    const column = Math.round((x - p.x0_m) / p.step_m), row = Math.round((y - p.y0_m) / p.step_m);
    if (column < 0 || row < 0 || column >= p.columns || row >= p.rows) return null;
    const index = row * p.columns + column;
    return this.inside && this.inside[index] === p.outside ? null : this.words(this.values[index]);
  }

  /** @returns {Float32Array} levels inside the walls, rising */
  sorted() {
    const p = /** @type {Packed} */ (this.packed);
    const inside = /** @type {Uint8Array} */ (this.inside);
    return this.values.filter((_, index) => inside[index] !== p.outside).sort();
  }

  /** @param {HTMLCanvasElement} bar @param {HTMLElement} words */
  legend(bar, words) {
    const p = /** @type {Packed} */ (this.packed);
    bar.width = this.colours.length * 12;
    bar.height = 10;
    const context = /** @type {CanvasRenderingContext2D} */ (bar.getContext("2d"));
    this.colours.forEach(([r, g, b], index) => {
      context.fillStyle = `rgb(${r} ${g} ${b})`;
      context.fillRect(index * 12, 0, 12, 10);
    });
    words.textContent = `${p.measure}: dark ${this.words(this.low)} to light ${this.words(this.low + this.colours.length)}, a line every ${p.band} ${p.unit}${p.note ? `; ${p.note}` : "; with the line filled"}`;
  }

  /** Draw which share of the room gets at least so much. @param {HTMLCanvasElement} canvas @param {HTMLElement} words */
  curve(canvas, words) {
    const p = /** @type {Packed} */ (this.packed);
    const levels = this.sorted();
    if (!levels.length) return;
    const style = getComputedStyle(document.documentElement);
    const ratio = devicePixelRatio || 1;
    const w = canvas.clientWidth, h = canvas.clientHeight;
    canvas.width = w * ratio;
    canvas.height = h * ratio;
    const context = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
    context.scale(ratio, ratio);
    const low = Math.floor(levels[0]) - 1, high = Math.ceil(levels[levels.length - 1]) + 1;
    const left = 46, bottom = 18, x = (/** @type {number} */ db) => left + ((w - left - 6) * (db - low)) / (high - low);
    const y = (/** @type {number} */ share) => 4 + (h - bottom - 4) * (1 - share);
    context.font = `12px ${style.fontFamily}`;
    context.fillStyle = style.getPropertyValue("--soft");
    context.strokeStyle = style.getPropertyValue("--faint");
    context.lineWidth = 1;
    context.textAlign = "right";
    for (const share of [0, 0.5, 0.95, 1]) {
      context.beginPath(); context.moveTo(left, y(share)); context.lineTo(w - 6, y(share)); context.stroke();
      if (share !== 0.95) context.fillText(`${share * 100} %`, left - 4, y(share) + 4);
    }
    context.textAlign = "center";
    const step = Math.max(1, Math.ceil((high - low) / Math.max((w - left) / 40, 1)));
    for (let db = low; db <= high; db += step) context.fillText(String(Number((db * p.band).toFixed(2))), x(db), h - 4);
    context.beginPath();
    context.strokeStyle = style.getPropertyValue("--accent");
    context.lineWidth = 1.5;
    const n = levels.length;
    for (let i = 0; i <= 200; i += 1) {
      const level = levels[Math.min(n - 1, Math.floor((i / 200) * n))];
      const share = 1 - i / 200;
      if (i) context.lineTo(x(level), y(share)); else { context.moveTo(left, y(1)); context.lineTo(x(level), y(1)); }
    }
    context.stroke();
    const text = `95 % of the room gets at least ${this.words(levels[Math.floor(n * 0.05)])}, half of it ${this.words(levels[Math.floor(n * 0.5)])}.`;
    words.textContent = text;
    canvas.setAttribute("aria-label", text);
  }
}

/** @param {number[][]} stops @param {number} share @returns {number[]} */
function mixed(stops, share) {
  const place = share * (stops.length - 1), i = Math.min(Math.floor(place), stops.length - 2), t = place - i;
  return stops[i].map((value, part) => Math.round(value + (stops[i + 1][part] - value) * t));
}

/** Levels with the cells outside the walls filled from their neighbours, so that edges stay crisp. @param {Uint8Array} bytes @param {Packed} p */
function filled(bytes, p) {
  const values = new Float32Array(bytes.length);
  /** @type {number[]} */
  let open = [];
  for (let i = 0; i < bytes.length; i += 1) {
    if (bytes[i] === p.outside) { values[i] = NaN; open.push(i); } else values[i] = p.floor + bytes[i] / p.per_band;
  }
  for (let round = 0; open.length && round < 4; round += 1) {
    /** @type {[number, number][]} */
    const found = [];
    const rest = [];
    for (const i of open) {
      const column = i % p.columns;
      let sum = 0, count = 0;
      for (const j of [column ? i - 1 : -1, column < p.columns - 1 ? i + 1 : -1, i - p.columns, i + p.columns]) {
        if (j >= 0 && j < values.length && !Number.isNaN(values[j])) { sum += values[j]; count += 1; }
      }
      if (count) found.push([i, sum / count]); else rest.push(i);
    }
    for (const [i, value] of found) values[i] = value;
    open = rest;
  }
  for (const i of open) values[i] = p.floor;
  return values;
}
