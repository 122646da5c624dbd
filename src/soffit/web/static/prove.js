// @ts-check
/** Prove: what every instrument should show, readings by big keys, verdicts at once. */
import { ask, data, here, job, make, need } from "./api.js";
import { keypad } from "./keypad.js";
import { say, tell } from "./page.js";
import { entry, put, send, waiting } from "./queue.js";

/** @type {any} */
let sheet = data();
if (sheet.rows) start();

function start() {
  const line = /** @type {HTMLSelectElement} */ (need("line"));
  const open = /** @type {HTMLInputElement} */ (need("open-only"));
  const log = /** @type {HTMLInputElement} */ (need("is-log"));

  /** @param {any} row */
  function expected(row) {
    if (row.expected_text) return row.expected_text;
    if (row.expected === null) return "";
    const digits = (/** @type {number} */ value) => (Math.abs(value) >= 100 ? value.toFixed(0) : value.toFixed(1));
    const band = row.low !== null && row.high !== null ? ` (${digits(row.low)} to ${digits(row.high)})` : "";
    return `${digits(row.expected)}${band} ${row.unit}`;
  }

  function tests() {
    const wanted = line.value;
    const rows = sheet.rows.filter((/** @type {any} */ row) => (!wanted || row.place === wanted || row.place.startsWith(`${wanted}-`)) && (!open.checked || !row.read.length));
    const parts = [];
    let phase = "";
    let list = make("ol", { class: "tests" });
    for (const row of rows) {
      if (row.phase !== phase) {
        phase = row.phase;
        list = make("ol", { class: "tests" });
        parts.push(make("h2", {}, phase), list);
      }
      const done = row.read.map((/** @type {any} */ item) => make("p", {}, make("span", { class: `verdict ${item.status}` }, item.status), ` ${item.measured}${item.who ? `, ${item.who}` : ""}`));
      list.append(make("li", {},
        make("div", {}, make("p", {}, make("b", {}, row.place), ` ${row.what}`), make("p", { class: "soft" }, [expected(row), row.drive].filter(Boolean).join("; ")), ...done),
        make("button", { type: "button", "aria-label": `Read ${row.place}: ${row.what}`, onclick: () => read(row) }, row.read.length ? "Again" : "Read")));
    }
    need("tests").replaceChildren(...(parts.length ? parts : [make("p", { class: "empty" }, "Nothing is left to read here.")]));
  }

  /** @param {any} row */
  function read(row) {
    keypad({ what: `${row.place}: ${row.what}`, expect: `expect ${expected(row)}`, quantity: row.quantity, unit: row.unit, setting: row.setting }, (value) => {
      const hint = /** @type {Record<string, string>} */ ({ "dc resistance": "dc", insulation: "insulation", noise: "noise", sti: "sti", visual: "seen", setting: "set" })[row.quantity] || "";
      const tone = row.frequency_hz && row.quantity !== "level" ? `${row.frequency_hz} Hz` : "";
      const words = [`"${row.place}"`, row.direction, hint, row.setting || "", tone, value];
      keepReading(words.filter(Boolean).join(" "));
    });
  }

  /** @param {string} text @param {boolean} [sure] */
  async function keepReading(text, sure = false) {
    const item = entry(text);
    try {
      const answer = await put("/readings", { entries: [item], is_log: log.checked, is_sure: sure }, item.key);
      if (!answer) { say("No network: it waits here and is sent by itself."); return; }
      await arrived(answer, text);
    } catch (error) {
      tell(error);
    }
  }

  /** @param {any} answer @param {string} text */
  async function arrived(answer, text) {
    const doubt = answer.doubts?.[0];
    if (doubt && text) {
      const card = make("div", { class: "notice" }, make("b", {}, doubt.what), ` ${doubt.why} ${doubt.do.replace(" (--sure)", "")} `,
        doubt.must_answer ? null : make("button", { type: "button", onclick: () => { card.remove(); keepReading(text, true); } }, "It is right: keep it"));
      need("verdicts").prepend(card);
      say("Kept back: it looks odd.");
      return;
    }
    const newest = answer.verdicts?.[0];
    sheet = await ask("GET", `${here}/readings`);
    tests();
    verdicts();
    if (newest) say(`${newest.place}: ${newest.status}`);
  }

  function verdicts() {
    need("count").textContent = String(sheet.read);
    need("verdicts").replaceChildren(
      ...sheet.line_words.map((/** @type {any} */ item) => make("p", {}, make("b", {}, item.line), ` ${item.verdict} `, make("a", { class: "button", href: `/jobs/${job}/trace?line=${encodeURIComponent(item.line)}` }, `Trace ${item.line}`))),
      ...[...sheet.proven, ...sheet.notes].map((/** @type {string} */ text) => make("p", { class: "soft" }, text)),
      ...sheet.verdicts.slice(0, 60).map((/** @type {any} */ item) => make("div", { class: "card" },
        make("p", {}, make("span", { class: `verdict ${item.status}` }, item.status), " ", make("b", {}, item.place), ` ${item.measured}`, item.expected ? ` (expected ${item.expected})` : ""),
        item.reasons.length ? make("p", {}, `Likely: ${item.reasons.join("; ")}`) : null,
        item.next_step ? make("p", {}, make("b", {}, "Do: "), item.next_step) : null,
        make("p", { class: "actions" }, make("button", { type: "button", "aria-label": `Strike out ${item.place} ${item.measured}`, onclick: () => strike(item.key) }, "Strike out")))),
    );
    if (!sheet.verdicts.length) need("verdicts").append(make("p", { class: "soft" }, "No readings yet. Begin at the top of the sheet; amplifier off and both legs off first."));
  }

  /** @param {string} key */
  async function strike(key) {
    try {
      await ask("POST", `${here}/readings/${encodeURIComponent(key)}/strike`);
      sheet = await ask("GET", `${here}/readings`);
      tests();
      verdicts();
    } catch (error) {
      tell(error);
    }
  }

  function queue() {
    const count = waiting().length;
    const stamp = need("queue");
    stamp.hidden = !count;
    stamp.textContent = `${count} waiting to be sent`;
  }

  need("free").addEventListener("submit", (event) => {
    event.preventDefault();
    const input = /** @type {HTMLInputElement} */ (need("free-text"));
    if (!input.value.trim()) return;
    keepReading(input.value.trim());
    input.value = "";
  });
  line.addEventListener("change", tests);
  open.addEventListener("change", tests);
  document.addEventListener("soffit-queue", queue);
  document.addEventListener("soffit-sent", (event) => { arrived(/** @type {CustomEvent} */ (event).detail, "").catch(tell); });
  tests();
  verdicts();
  queue();
  if (waiting().length) send().then((answer) => answer && arrived(answer, "")).catch(tell);
}
