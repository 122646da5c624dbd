// @ts-check
/** Trace: one step after the other, with the reason, until the fault has a name. */
import { ask, data, here, make, need } from "./api.js";
import { keypad } from "./keypad.js";
import { say, tell } from "./page.js";
import { entry, put, waiting } from "./queue.js";

const sheet = data();
const line = sheet.line;
if (line) start(sheet.advice);

/** @param {any} first */
function start(first) {
  let advice = first;

  function said() {
    return /** @type {HTMLInputElement[]} */ ([...document.querySelectorAll('input[name="said"]:checked')]).map((box) => box.value);
  }
  function canListen() { return !(/** @type {HTMLInputElement} */ (need("no-ears")).checked); }

  /** @param {string} text @param {boolean} [sure] keep it, odd as it is */
  async function take(text, sure = false) {
    const item = entry(text);
    try {
      const answer = await put("/trace", { line, entry: item, said: said(), can_listen: canListen(), is_sure: sure }, item.key);
      if (!answer) { say("No network: it waits here and is sent by itself."); return; }
      if (answer.outcome) { advice = answer; draw(); doubted(answer.doubts || [], text); }
    } catch (error) {
      tell(error);
    }
  }

  /** Ask about an odd reading before it is kept. @param {any[]} doubts @param {string} text */
  function doubted(doubts, text) {
    if (!doubts.length) return;
    const must = doubts.some((item) => item.must_answer);
    const card = make("div", { class: "notice", id: "doubt", role: "alert" }, ...doubts.map((item) => make("p", {}, make("b", {}, item.what), ` ${item.why}. ${item.do.replace(" (--sure)", "")}.`)),
      make("p", { class: "actions" }, must ? null : make("button", { type: "button", onclick: () => take(text, true) }, "It is right: keep it"), make("button", { type: "button", onclick: () => card.remove() }, must ? "Close" : "Leave it out")));
    need("dialogue").prepend(card);
    card.querySelector("button")?.focus();
    say("Kept back: it looks odd.");
  }

  /** @param {string} place @param {string} way @param {string} expect */
  function ohms(place, way, expect) {
    keypad({ what: `${place}: ohms ${way}`, expect, quantity: "impedance", unit: "Ω" }, (value) => take(`"${place}" ${way} ${value}`));
  }

  /** @param {any} test */
  function next(test) {
    const where = /** @type {Record<string, string>} */ ({ walk: "Walk along the whole line and listen", listen: `Listen under ${test.place}`, rack: "Read the whole line at the rack" })[test.kind] || `Go to ${test.place} and open the joint`;
    const box = make("div", { class: "next" }, make("h2", {}, where), make("p", { class: "soft" }, `about ${Math.max(1, Math.round(test.minutes))} min; ${advice.because}`),
      make("ol", {}, ...test.steps.map((/** @type {string} */ step) => make("li", {}, step))));
    const buttons = make("p", { class: "actions" });
    if (test.kind === "walk" || test.kind === "listen") {
      const places = test.kind === "listen" ? [test.place] : advice.places.filter((/** @type {any} */ p) => p.is_speaker).map((/** @type {any} */ p) => p.label);
      const select = /** @type {HTMLSelectElement} */ (make("select", { "aria-label": "Loudspeaker" }, ...places.map((/** @type {string} */ p) => make("option", {}, p))));
      buttons.append(select, make("button", { type: "button", class: "main", onclick: () => keypad({ what: `${select.value}: what do you hear?`, expect: "pink noise on the line", quantity: "ear", unit: "" }, (word) => take(`"${select.value}" ${word}`)) }, "Enter what I hear"));
      if (test.kind === "walk") buttons.append(make("button", { type: "button", onclick: allHeard }, "All the others are heard"));
    } else {
      for (const look of test.sound_line_reads) {
        const way = test.kind === "rack" ? "whole" : look.way;
        const words = /** @type {Record<string, string>} */ ({ whole: "the whole line", out: "away from the amplifier", in: "back to the amplifier", alone: "the loudspeaker alone" })[way] || way;
        buttons.append(make("button", { type: "button", class: "main", onclick: () => ohms(test.kind === "rack" ? line : test.place, way, `a sound line reads ${look.low_ohm} to ${look.high_ohm} Ω`) }, `Read ${words}`));
      }
    }
    box.append(buttons);
    return box;
  }

  async function allHeard() {
    const told = new Set(advice.taken.map((/** @type {any} */ item) => item.text.split(" ")[0]));
    for (const place of advice.places) if (place.is_speaker && !told.has(place.label)) await take(`"${place.label}" heard`);
  }

  function draw() {
    const parts = [];
    if (!advice) return;
    if (advice.next) parts.push(next(advice.next));
    else parts.push(make("div", { class: "next" }, make("h2", {}, /** @type {Record<string, string>} */ ({ found: `It is ${advice.suspects[0]?.place}: ${advice.suspects[0]?.words}`, sound: "The line is sound", "cannot tell": "It cannot be told from here", refuse: "Do not trust a name now" })[advice.outcome] || advice.outcome),
      make("p", { class: "soft" }, advice.because), make("ol", {}, ...(advice.do || []).map((/** @type {string} */ text) => make("li", {}, text))),
      advice.outcome === "found" ? make("p", { class: "actions" }, make("button", { type: "button", class: "main", onclick: () => take(`mended ${advice.suspects[0].place}`) }, `Mended at ${advice.suspects[0].place}`)) : ""));
    const free = /** @type {HTMLInputElement} */ (make("input", { id: "free-text", placeholder: `${line}-03 out 240 ohm`, autocomplete: "off", autocapitalize: "off", spellcheck: "false" }));
    parts.push(make("form", { class: "card", onsubmit: (/** @type {Event} */ event) => { event.preventDefault(); if (free.value.trim()) take(free.value.trim()); } },
      make("label", { for: "free-text" }, "Something else was read"), make("p", { class: "actions" }, free, make("button", {}, "Keep"))));
    if (advice.others.length) parts.push(make("details", { class: "card" }, make("summary", {}, "Other steps that would help"), make("ul", {}, ...advice.others.map((/** @type {any} */ item) => make("li", {}, `${item.kind} at ${item.place}, ${item.minutes} min`)))));
    parts.push(make("p", { class: "soft" }, advice.caution));
    need("dialogue").replaceChildren(...parts);
    const rows = advice.suspects.filter((/** @type {any} */ item) => item.probability >= 0.005).slice(0, 8);
    need("suspects").replaceChildren(
      make("h2", {}, "What may be wrong"),
      make("table", { class: "list" }, make("tbody", {}, ...rows.map((/** @type {any} */ item) => {
        const bar = make("span", { class: "bar" });
        bar.style.width = `${Math.max(2, item.probability * 90)}px`;
        return make("tr", {}, make("th", { scope: "row" }, item.place), make("td", { class: "n" }, `${(item.probability * 100).toFixed(1)} %`), make("td", {}, bar), make("td", {}, item.words));
      }))),
      advice.unknown_cause >= 0.01 ? make("p", {}, `${(advice.unknown_cause * 100).toFixed(1)} %: something that is not on the list`) : "",
      ...advice.equal.slice(0, 2).map((/** @type {any} */ group) => make("p", { class: "soft" }, `The same to a meter at every joint: ${group.words.join(" = ")}`)),
      ...(advice.log ? [make("p", { class: "soft" }, advice.log)] : []),
      make("h2", {}, "Read so far"),
      advice.taken.length ? make("ul", {}, ...advice.taken.slice(0, 40).map((/** @type {any} */ item) => make("li", {}, `${item.text}${item.who ? `, ${item.who}` : ""} `))) : make("p", { class: "soft" }, "nothing yet"),
    );
  }

  async function again() {
    const query = new URLSearchParams({ line, can_listen: String(canListen()) });
    for (const id of said()) query.append("said", id);
    try {
      advice = await ask("GET", `${here}/trace?${query}`);
      draw();
    } catch (error) {
      tell(error);
    }
  }

  need("begin").addEventListener("click", () => take("begin"));
  need("said").addEventListener("change", again);
  document.addEventListener("soffit-sent", again);
  draw();
  if (waiting().length) say(`${waiting().length} readings wait to be sent.`);
}
