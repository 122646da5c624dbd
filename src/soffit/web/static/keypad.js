// @ts-check
/** Big keys for one reading on a phone: digits, unit, open and short. */
import { make, need } from "./api.js";

/** @type {Record<string, string[]>} */
const UNITS = {
  impedance: ["Ω", "kΩ"], "dc resistance": ["Ω", "kΩ"], insulation: ["MΩ", "kΩ"], voltage: ["V", "mV"],
  current: ["A", "mA"], level: ["dB"], "level dba": ["dBA"], noise: ["dBA"], sti: [""], polarity: [""],
};
/** Settings that are a number; the others are words. @type {Record<string, string[]>} */
const SETTINGS = { "test drive": ["V"], "high-pass": ["Hz"], limiter: ["V"], delay: ["ms"], "paging priority": [""], "input level": ["dB"] };
const EARS = ["heard", "silent", "loud", "faint", "distorted", "rattle"];

/**
 * Ask for one reading.
 * @param {{what: string, expect: string, quantity: string, unit: string, setting?: string}} question
 * @param {(value: string) => void} done with value and unit, or a word
 */
export function keypad(question, done) {
  const dialog = /** @type {HTMLDialogElement} */ (need("keys"));
  const out = need("keys-value");
  const pad = need("keys-pad");
  let value = "";
  const numbers = question.quantity === "setting" ? SETTINGS[question.setting || ""] : UNITS[question.quantity];
  const units = numbers || [""];
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
    else if ("<>-".includes(letter) && value) return;
    else if (value.length < 9) value += letter;
    show();
  };
  /** @param {string} text @param {() => void} action @param {string} [kind] */
  const key = (text, action, kind = "") => make("button", { type: "button", class: kind, onclick: action }, text);
  if (question.quantity === "ear") {
    pad.replaceChildren(...EARS.map((word) => key(word, () => finish(word), "word")));
  } else if (question.quantity === "setting" && !numbers) {
    const words = /** @type {HTMLInputElement} */ (make("input", { class: "words", maxlength: "120", "aria-label": "As left", placeholder: "as left, in words", onkeydown: (/** @type {KeyboardEvent} */ event) => { if (event.key === "Enter" && words.value.trim()) { event.preventDefault(); finish(words.value.trim()); } } }));
    pad.replaceChildren(words, key("flat", () => finish("flat"), "word"), key("Keep", () => { if (words.value.trim()) finish(words.value.trim()); }, "word main"));
  } else if (!numbers) {
    pad.replaceChildren(...["right", "wrong"].map((word) => key(word, () => finish(word), "word")));
  } else {
    pad.replaceChildren(
      ...["7", "8", "9", "⌫", "4", "5", "6", question.quantity === "setting" ? "-" : "<", "1", "2", "3", ">", "0", "."].filter((letter) => letter !== ">" || question.quantity !== "setting").map((letter) => key(letter, () => type(letter))),
      ...(question.quantity === "impedance" || question.quantity === "insulation" ? [key("OL", () => finish("OL"), "word")] : []),
      ...(question.setting === "high-pass" || question.setting === "delay" ? [key("off", () => finish("off"), "word")] : []),
      ...units.filter((name) => name !== "").map((name) => key(name, () => { unit = name; show(); })),
      key("Keep", () => { if (/\d/.test(value)) finish(`${value} ${unit}`); }, "word main"),
    );
  }
  dialog.onkeydown = (event) => {
    if (/^[0-9.<>-]$/.test(event.key) && numbers) { event.preventDefault(); type(event.key); }
    else if (event.key === "Backspace") { event.preventDefault(); type("⌫"); }
    else if (event.key === "Enter" && /\d/.test(value) && !(event.target instanceof HTMLElement && event.target.closest("button") && !event.target.classList.contains("main"))) { event.preventDefault(); finish(`${value} ${unit}`); }
  };
  /** @type {HTMLButtonElement} */ (dialog.querySelector('[data-act="close"]')).onclick = () => { dialog.close(); dialog.onkeydown = null; };
  show();
  dialog.showModal();
  if (numbers) out.focus(); // digits are typed at once, Enter keeps them
  else /** @type {HTMLButtonElement | null} */ (pad.querySelector("input, button"))?.focus();
}
