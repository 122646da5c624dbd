// @ts-check
/** A drawing that can be moved, zoomed and pinched; everything is in millimetres of the drawing. */

/** @typedef {{x: number, y: number, w: number, h: number}} Box */

export class View {
  /**
   * @param {HTMLElement} board @param {SVGSVGElement} svg
   * @param {() => void} onChange
   */
  constructor(board, svg, onChange) {
    this.board = board;
    this.svg = svg;
    this.onChange = onChange;
    const box = svg.viewBox.baseVal;
    /** @type {Box} */
    this.whole = { x: box.x, y: box.y, w: box.width, h: box.height };
    /** @type {Box} */
    this.box = { ...this.whole };
    /** @type {Map<number, {x: number, y: number}>} */
    this.fingers = new Map();
    board.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.zoom(Math.exp(event.deltaY * 0.0015), this.at(event));
    }, { passive: false });
    board.addEventListener("pointerdown", (event) => this.down(event));
    board.addEventListener("pointermove", (event) => this.move(event));
    for (const name of ["pointerup", "pointercancel"]) {
      board.addEventListener(name, (event) => this.up(/** @type {PointerEvent} */ (event)));
    }
    document.querySelectorAll("[data-zoom]").forEach((button) => button.addEventListener("click", () => {
      const kind = /** @type {HTMLElement} */ (button).dataset.zoom;
      if (kind === "all") this.show(this.whole);
      else this.zoom(kind === "in" ? 0.7 : 1 / 0.7, this.middle());
    }));
    board.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey) return;
      if (event.key === "+" || event.key === "=") this.zoom(0.7, this.middle());
      else if (event.key === "-") this.zoom(1 / 0.7, this.middle());
      else if (event.key === "0") this.show(this.whole);
    });
    this.size = { w: board.clientWidth, h: board.clientHeight };
    /** @type {DOMRect | null} where the board is on the screen, until something scrolls */
    this.frame = null;
    addEventListener("scroll", () => { this.frame = null; }, { capture: true, passive: true });
    new ResizeObserver(() => {
      this.size = { w: board.clientWidth, h: board.clientHeight };
      this.frame = null;
      this.onChange();
    }).observe(board);
    new ResizeObserver(() => { this.frame = null; }).observe(document.body);
  }

  /** @returns {number} screen pixels a millimetre of the drawing */
  get scale() {
    return Math.min(this.size.w / this.box.w, this.size.h / this.box.h);
  }

  /** @returns {{x: number, y: number}} where the drawing's box begins on the board, in pixels */
  get offset() {
    return {
      x: (this.size.w - this.box.w * this.scale) / 2 - this.box.x * this.scale,
      y: (this.size.h - this.box.h * this.scale) / 2 - this.box.y * this.scale,
    };
  }

  /** @param {{clientX: number, clientY: number}} event @returns {{x: number, y: number}} on the drawing */
  at(event) {
    const frame = this.frame || (this.frame = this.board.getBoundingClientRect());
    const { x, y } = this.offset;
    return { x: (event.clientX - frame.left - this.board.clientLeft - x) / this.scale, y: (event.clientY - frame.top - this.board.clientTop - y) / this.scale };
  }

  middle() {
    return { x: this.box.x + this.box.w / 2, y: this.box.y + this.box.h / 2 };
  }

  /** @param {Box} box */
  show(box) {
    this.box = { ...box };
    this.svg.setAttribute("viewBox", `${box.x} ${box.y} ${box.w} ${box.h}`);
    this.onChange();
  }

  /** Take another drawing, whole. @param {Box} box */
  fit(box) {
    this.whole = { ...box };
    this.show(this.whole);
  }

  /** @param {number} factor @param {{x: number, y: number}} at */
  zoom(factor, at) {
    const w = Math.min(Math.max(this.box.w * factor, this.whole.w / 20), this.whole.w * 2);
    const f = w / this.box.w;
    this.show({ x: at.x - (at.x - this.box.x) * f, y: at.y - (at.y - this.box.y) * f, w, h: this.box.h * f });
  }

  /** @param {PointerEvent} event */
  down(event) {
    if (event.defaultPrevented || event.button > 0) return;
    this.fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (this.fingers.size <= 2) {
      this.board.setPointerCapture(event.pointerId);
      this.board.classList.add("pans");
    }
  }

  /** @param {PointerEvent} event */
  move(event) {
    const before = this.fingers.get(event.pointerId);
    if (!before || event.defaultPrevented) return;
    const others = [...this.fingers].filter(([id]) => id !== event.pointerId).map(([, place]) => place);
    const now = { x: event.clientX, y: event.clientY };
    if (others.length === 1) {
      const other = others[0];
      const was = Math.hypot(before.x - other.x, before.y - other.y);
      const is = Math.hypot(now.x - other.x, now.y - other.y);
      if (is > 1) this.zoom(was / is, this.at({ clientX: (now.x + other.x) / 2, clientY: (now.y + other.y) / 2 }));
    } else if (!others.length) {
      this.show({ ...this.box, x: this.box.x - (now.x - before.x) / this.scale, y: this.box.y - (now.y - before.y) / this.scale });
    }
    this.fingers.set(event.pointerId, now);
  }

  /** @param {PointerEvent} event */
  up(event) {
    this.fingers.delete(event.pointerId);
    if (!this.fingers.size) this.board.classList.remove("pans");
  }
}
