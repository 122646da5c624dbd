// @ts-check
/** What every sheet has: problems in words, undo and redo, long runs with progress, paper and name. */
import { ask, Fault, here, job, make, need, setRevision } from "./api.js";

let sayTimer = 0;

/** @param {string} text said to eyes and to screen readers */
export function say(text) {
  const line = need("say");
  line.textContent = text;
  clearTimeout(sayTimer);
  sayTimer = window.setTimeout(() => { line.textContent = ""; }, 5000);
}

/**
 * Show what went wrong, in its four parts.
 * @param {unknown} error
 * @param {(() => void) | null} [again] what to do on the new drawing, where another hand was quicker
 * @param {string} [words] of that, where nobody was quicker and it is offered all the same
 */
export function tell(error, again = null, words = "") {
  const dialog = /** @type {HTMLDialogElement} */ (need("problem"));
  const fault = error instanceof Fault ? error : new Fault(0, {
    what: `the page stumbled: ${error}`, where: location.pathname, why: "this is our bug, not your job", do: "load the page again",
  }, []);
  if (!(error instanceof Fault)) console.error(error);
  need("problem-what").textContent = fault.error.what;
  for (const part of /** @type {const} */ (["where", "why", "do"])) {
    const cell = dialog.querySelector(`[data-part="${part}"]`);
    if (cell) cell.textContent = fault.error[part];
  }
  const more = dialog.querySelector('[data-part="more"]');
  const seen = new Set([JSON.stringify(fault.error)]);
  const others = fault.more.filter((item) => { const name = JSON.stringify(item); return !seen.has(name) && Boolean(seen.add(name)); });
  if (more) more.replaceChildren(...others.map((item) => make("li", {}, make("b", {}, item.what), ` ${item.where}. ${item.do}`)));
  const stale = fault.status === 409;
  const buttons = /** @type {NodeListOf<HTMLButtonElement>} */ (dialog.querySelectorAll("button"));
  buttons.forEach((button) => {
    const act = button.dataset.act;
    if (act === "again") button.textContent = words || "Do it on the new drawing";
    button.hidden = (act === "again" && !((stale || words) && again)) || (act === "reload" && !stale);
    button.onclick = () => {
      dialog.close();
      if (act === "reload") location.reload();
      if (act === "again" && again) again();
    };
  });
  if (!dialog.open) dialog.showModal();
}

/**
 * Send a change with the revision that this page shows; where somebody was quicker, say who changed
 * what, and offer to do it again on the new drawing.
 * @param {string} path @param {Record<string, any>} body
 * @param {(answer: any) => void} [done]
 */
export async function change(path, body, done = () => location.reload()) {
  try {
    const answer = await ask("POST", path, { ...body, revision: Number(document.body.dataset.revision) });
    if (answer && answer.revision !== undefined) setRevision(answer.revision);
    done(answer);
  } catch (error) {
    tell(error, () => {
      ask("GET", here).then((now) => {
        setRevision(now.revision);
        change(path, body, done);
      }).catch(tell);
    });
  }
}

/**
 * Start long work and follow it.
 * @param {string} path @param {unknown} body @param {string} title
 * @param {(result: any) => void} [done]
 */
export async function run(path, body, title, done = () => location.reload()) {
  const dialog = /** @type {HTMLDialogElement} */ (need("work"));
  const bar = /** @type {HTMLProgressElement} */ (dialog.querySelector("progress"));
  const text = /** @type {HTMLElement} */ (dialog.querySelector('[data-part="text"]'));
  const stop = /** @type {HTMLButtonElement} */ (dialog.querySelector('[data-act="stop"]'));
  let key;
  try {
    key = (await ask("POST", path, body)).work;
  } catch (error) {
    tell(error);
    return;
  }
  need("work-what").textContent = title;
  bar.value = 0;
  text.textContent = "starting";
  dialog.showModal();
  const halt = () => ask("POST", `/api/works/${key}/stop`).catch(tell);
  stop.onclick = halt;
  dialog.oncancel = (event) => { event.preventDefault(); halt(); };
  const events = new EventSource(`/api/works/${key}/events`);
  const end = () => { events.close(); dialog.close(); };
  events.addEventListener("progress", (event) => {
    const told = JSON.parse(event.data);
    bar.value = told.done;
    text.textContent = told.text;
  });
  events.addEventListener("done", (event) => { end(); done(JSON.parse(event.data).result); });
  events.addEventListener("stopped", () => { end(); say("Stopped; nothing was changed."); });
  events.addEventListener("failed", (event) => {
    end();
    const told = JSON.parse(event.data);
    const fault = new Fault(422, told.error, told.more || []);
    if (path.endsWith("/design")) others(fault, path, /** @type {any} */ (body), title, done);
    else tell(fault);
  });
  events.onerror = () => {
    if (events.readyState === EventSource.CLOSED) { end(); tell(new Fault(0, { what: "the run is out of sight", where: path, why: "the server cannot be reached", do: "load the page again: what is finished is kept" }, [])); }
  };
}

/**
 * Some rooms cannot be designed: offer to design the others.
 * @param {Fault} fault @param {string} path @param {any} body @param {string} title @param {(result: any) => void} done
 */
async function others(fault, path, body, title, done) {
  const refused = new Set([fault.error, ...fault.more].map((part) => part.where.match(/\brooms\.([a-z0-9_-]+)/)?.[1]));
  try {
    const all = body.rooms.length ? body.rooms : (await ask("GET", here)).rooms.map((/** @type {any} */ item) => item.key);
    const rest = all.filter((/** @type {string} */ key) => !refused.has(key));
    if (refused.has(undefined) || !rest.length || rest.length === all.length) { tell(fault); return; }
    tell(fault, () => run(path, { ...body, rooms: rest }, title, done), rest.length === 1 ? "Design the other room" : `Design the other ${rest.length} rooms`);
  } catch (error) {
    tell(error);
  }
}

/** Say what a run has made, and show it. @param {any} told */
function designed(told) {
  const missed = told.rooms.filter((/** @type {any} */ item) => (item.brief || []).some((/** @type {any} */ row) => row.verdict === "missed")).length;
  sessionStorage.setItem("soffit-said", `Designed: ${told.speakers} loudspeakers on ${told.lines.length} line${told.lines.length === 1 ? "" : "s"}${missed ? `; ${missed} room${missed === 1 ? "" : "s"} missed the brief` : ""}. Undo takes it back.`);
  if (location.pathname.endsWith("/survey")) location.assign(`/jobs/${job}/ceiling${location.search}`);
  else location.reload();
}

/** @param {"undo" | "redo"} word */
export async function step(word) {
  try {
    const answer = await ask("POST", `${here}/${word}`);
    sessionStorage.setItem("soffit-said", `${word === "undo" ? "Taken back" : "Made again"}: ${answer.what}`);
    location.reload();
  } catch (error) {
    tell(error);
  }
}

/** How hard the design is searched, as this browser was told on the sheet of choices. @returns {{has_free: boolean, has_all_offsets: boolean, proof_s: number | null}} */
export function searchOptions() {
  try {
    const kept = JSON.parse(localStorage.getItem("soffit-search") || "{}");
    return { has_free: Boolean(kept.free), has_all_offsets: Boolean(kept.offsets), proof_s: kept.proof ? Math.min(Math.max(Number(kept.seconds) || 60, 1), 3600) : null };
  } catch {
    return { has_free: false, has_all_offsets: false, proof_s: null };
  }
}

function paper() {
  const button = need("paper");
  const shown = () => document.documentElement.dataset.paper || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light");
  const kept = localStorage.getItem("soffit-paper");
  if (kept) document.documentElement.dataset.paper = kept;
  button.setAttribute("aria-pressed", String(shown() === "dark"));
  button.addEventListener("click", () => {
    const next = shown() === "dark" ? "light" : "dark";
    document.documentElement.dataset.paper = next;
    localStorage.setItem("soffit-paper", next);
    button.setAttribute("aria-pressed", String(next === "dark"));
    document.dispatchEvent(new CustomEvent("soffit-paper"));
  });
}

function name() {
  const input = /** @type {HTMLInputElement} */ (need("who"));
  input.value = localStorage.getItem("soffit-who") || "";
  input.addEventListener("input", () => localStorage.setItem("soffit-who", input.value.trim()));
}

function start() {
  paper();
  name();
  document.querySelector(".register [aria-current]")?.scrollIntoView({ inline: "center", block: "nearest" });
  const said = sessionStorage.getItem("soffit-said");
  if (said) { sessionStorage.removeItem("soffit-said"); say(said); }
  if (!job) return;
  need("undo").addEventListener("click", () => step("undo"));
  need("redo").addEventListener("click", () => step("redo"));
  document.addEventListener("keydown", (event) => {
    const typing = event.target instanceof HTMLElement && event.target.closest("input, textarea, select, dialog");
    if (typing || !(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z") return;
    event.preventDefault();
    step(event.shiftKey ? "redo" : "undo");
  });
  document.querySelectorAll("[data-run='design']").forEach((button) => {
    button.addEventListener("click", () => {
      const room = /** @type {HTMLElement} */ (button).dataset.room;
      const how = searchOptions();
      const more = [how.has_free ? "free form" : "", how.has_all_offsets ? "every offset" : "", how.proof_s ? `a proof within ${how.proof_s} s a room` : ""].filter(Boolean);
      run(`${here}/design`, { rooms: room ? [room] : [], ...how }, `Searching layouts, taps, lines and amplifiers${more.length ? `; with ${more.join(", ")}` : ""}`, designed);
    });
  });
  document.querySelectorAll("select[data-go]").forEach((element) => {
    const select = /** @type {HTMLSelectElement} */ (element);
    select.addEventListener("change", () => location.assign(`/jobs/${job}/${select.dataset.go}?room=${encodeURIComponent(select.value)}`));
  });
  document.querySelectorAll("[data-m]").forEach((element) => {
    import("./api.js").then((api) => { element.textContent = api.length(Number(/** @type {HTMLElement} */ (element).dataset.m)); });
  });
}

start();
