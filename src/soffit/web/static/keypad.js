// @ts-check
/** Big keys for one reading on a phone: digits, unit, open and short. */
import { make, need } from "./api.js";

/** @type {Record<string, string[]>} */
const UNITS = {
  impedance: ["Ω", "kΩ"], "dc resistance": ["Ω", "kΩ"], insulation: ["MΩ", "kΩ"], voltage: ["V", "mV"],
  current: ["A", "mA"], level: ["dB"], "level dba": ["dBA"], noise: ["dBA"], sti: [""], polarity: [""],
};
const EARS = ["heard", "silent", "loud", "faint", "distorted", "rattle"];

/**
 * Ask for one reading.
 * @param {{what: string, expect: string, quantity: string, unit: string}} question
 * @param {(value: string) => void} done with value and unit, or a word
 */
export function keypad(question, done) {
  const dialog = /** @type {HTMLDialogElement} */ (need("keys"));
  const out = need("keys-value");
  const pad = need("keys-pad");
  let value = "";
  const units = UNITS[question.quantity] || [""];
  let unit = units.includes(question.unit) ? question.unit : units[0];
  need("keys-what").textContent = question.what;
  need("keys-expect").textContent = question.expect;
  const show = () => { out.textContent = value ? `${value} ${unit}` : "\u00a0"; };
  /** @param {string} text */
  const finish = (text) => { dialog.close(); dialog.onkeydown = null; done(text); };
  /** @param {string} letter */
  const type = (letter) => {
    if (letter === "⌫") value = value.slice(0, -1);
    else if (letter === "." && value.includes(".")) return;
    else if ((letter === "<" || letter === ">") && value) return;
    else if (value.length < 9) value += letter;
    show();
  };
  /** @param {string} text @param {() => void} action @param {string} [kind] */
  const key = (text, action, kind = "") => make("button", { type: "button", class: kind, onclick: action }, text);
  if (question.quantity === "ear") {
    pad.replaceChildren(...EARS.map((word) => key(word, () => finish(word), "word")));
  } else if (!UNITS[question.quantity]) {
    pad.replaceChildren(...["right", "wrong"].map((word) => key(word, () => finish(word), "word")));
  } else {
    pad.replaceChildren(
      ...["7", "8", "9", "⌫", "4", "5", "6", "<", "1", "2", "3", ">", "0", "."].map((letter) => key(letter, () => type(letter))),
      ...(question.quantity === "impedance" || question.quantity === "insulation" ? [key("OL", () => finish("OL"), "word")] : []),
      ...units.filter((name) => name !== "").map((name) => key(name, () => { unit = name; show(); })),
      key("Keep", () => { if (/\d/.test(value)) finish(`${value} ${unit}`); }, "word main"),
    );
  }
  dialog.onkeydown = (event) => {
    if (/^[0-9.<>]$/.test(event.key) && UNITS[question.quantity]) { event.preventDefault(); type(event.key); }
    else if (event.key === "Backspace") { event.preventDefault(); type("⌫"); }
    else if (event.key === "Enter" && /\d/.test(value) && !(event.target instanceof HTMLElement && event.target.closest("button") && !event.target.classList.contains("main"))) { event.preventDefault(); finish(`${value} ${unit}`); }
  };
  /** @type {HTMLButtonElement} */ (dialog.querySelector('[data-act="close"]')).onclick = () => { dialog.close(); dialog.onkeydown = null; };
  show();
  dialog.showModal();
  if (UNITS[question.quantity]) out.focus(); // digits are typed at once, Enter keeps them
  else /** @type {HTMLButtonElement | null} */ (pad.querySelector("button"))?.focus();
}
