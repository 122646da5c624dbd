// @ts-check
/** Handles on the drawing: by mouse, by finger, by arrow keys; nothing is kept before it is let go. */
import { desk, drawing, metres, NS, onView, placeWords, snapped, stepped, view } from "./desk.js";
import { say } from "./page.js";

/**
 * @typedef {Object} Handle
 * @property {string} id the same after a redraw, so that the focus finds it again
 * @property {string} label what it is
 * @property {string} mark elements drawn round the origin, in pixels of the screen
 * @property {() => number[]} at where it is, in metres
 * @property {(p: number[]) => void} drag hold it there
 * @property {() => void} keep
 * @property {() => void} back put it where it was
 * @property {(() => void)} [remove]
 * @property {string} [except] a room whose corners do not catch it
 * @property {(p: number[]) => number[]} [free] how it snaps, where lines do not catch it
 */

export class Hands {
  /** @param {HTMLElement} group */
  constructor(group) {
    this.group = group;
    /** @type {Handle[]} */
    this.list = [];
    /** @type {{handle: Handle, id: number, moved: boolean} | null} */
    this.held = null;
    onView(() => this.place());
    group.addEventListener("pointerdown", (event) => this.down(event));
    group.addEventListener("pointermove", (event) => this.move(event));
    for (const name of ["pointerup", "pointercancel"]) group.addEventListener(name, (event) => this.up(/** @type {PointerEvent} */ (event)));
    group.addEventListener("keydown", (event) => this.key(event));
    group.addEventListener("focusout", () => this.leave());
  }

  /** @param {Handle[]} list */
  set(list) {
    this.held = null;
    this.list = list;
    this.group.replaceChildren(...list.map((handle) => {
      const dot = document.createElementNS(NS, "g");
      dot.setAttribute("class", "handle");
      dot.setAttribute("tabindex", "0");
      dot.setAttribute("role", "button");
      dot.dataset.id = handle.id;
      dot.setAttribute("aria-label", `${handle.label}: arrow keys move it, Enter keeps it, Escape puts it back${handle.remove ? ", Delete takes it out" : ""}`);
      dot.innerHTML = `<circle class="touch" r="22"/><circle class="ring" r="11"/>${handle.mark}`;
      return dot;
    }));
    this.place();
  }

  place() {
    const scale = 1 / view.scale;
    this.list.forEach((handle, index) => {
      const p = drawing(handle.at());
      this.group.children[index]?.setAttribute("transform", `translate(${p.x} ${p.y}) scale(${scale})`);
    });
  }

  /** @param {EventTarget | null} target @returns {Handle | undefined} */
  of(target) {
    const dot = /** @type {Element} */ (target).closest(".handle");
    return this.list.find((handle) => handle.id === /** @type {HTMLElement | null} */ (dot)?.dataset.id);
  }

  /** The handle nearest to the finger: targets of 44 pixels lie over each other. @param {PointerEvent} event */
  nearest(event) {
    const at = view.at(event);
    let best = this.of(event.target);
    let least = Infinity;
    for (const handle of this.list) {
      const p = drawing(handle.at());
      const far = Math.hypot(p.x - at.x, p.y - at.y) * view.scale;
      if (far < least && far <= 23) { least = far; best = handle; }
    }
    return best;
  }

  /** @param {PointerEvent} event */
  down(event) {
    const handle = this.nearest(event);
    if (!handle || event.button > 0) return;
    event.preventDefault();
    event.stopPropagation();
    this.group.setPointerCapture(event.pointerId);
    this.held = { handle, id: event.pointerId, moved: false };
    const dot = this.dot(handle);
    dot?.classList.add("held");
    dot?.focus();
  }

  /** @param {Handle} handle @returns {HTMLElement | null} */
  dot(handle) { return this.group.querySelector(`[data-id="${CSS.escape(handle.id)}"]`); }

  /** @param {PointerEvent} event */
  move(event) {
    if (!this.held || this.held.id !== event.pointerId) return;
    event.stopPropagation();
    this.held.moved = true;
    const { handle } = this.held;
    const p = metres(view.at(event));
    this.to(handle, handle.free ? handle.free(p) : snapped(p, null, handle.except).at);
  }

  /** @param {Handle} handle @param {number[]} p */
  to(handle, p) {
    handle.drag(p);
    this.place();
    say(`${handle.label}: ${placeWords(handle.at())}`);
  }

  /** @param {PointerEvent} event */
  up(event) {
    if (!this.held || this.held.id !== event.pointerId) return;
    event.stopPropagation();
    const { handle, moved } = this.held;
    this.held = null;
    this.dot(handle)?.classList.remove("held");
    if (!moved) return;
    if (event.type === "pointercancel") { handle.back(); this.place(); } else handle.keep();
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const handle = this.of(event.target);
    if (!handle) return;
    const p = stepped(handle.at(), event);
    if (p) {
      event.preventDefault();
      event.stopPropagation();
      this.held = { handle, id: -1, moved: true };
      this.to(handle, p);
    } else if (event.key === "Enter" && this.held) {
      event.preventDefault();
      this.held = null;
      handle.keep();
    } else if (event.key === "Escape" && this.held) {
      event.preventDefault();
      this.held = null;
      handle.back();
      this.place();
      say("Put back.");
    } else if (event.key === "Delete" && handle.remove) {
      event.preventDefault();
      this.held = null;
      handle.remove();
    }
  }

  /** What was moved by keys and left is put back. */
  leave() {
    if (!this.held || this.held.id !== -1) return;
    const { handle } = this.held;
    this.held = null;
    handle.back();
    this.place();
  }
}
void desk;
