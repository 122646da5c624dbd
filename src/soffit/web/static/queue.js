// @ts-check
/**
 * Readings wait here until the server has said that they are on its disk. Each has a key of its own,
 * so that one that is sent twice is kept once. The queue outlives the page, in this browser.
 */
import { ask, Fault, here, job } from "./api.js";

const NAME = `soffit-readings-${job}`;

/** @typedef {{key: string, text: string, taken_at: string, instrument: string, drive: string}} Entry */
/** @typedef {{path: string, body: any, key: string}} Waiting */

/** @returns {Waiting[]} */
export function waiting() {
  try { return JSON.parse(localStorage.getItem(NAME) || "[]"); } catch { return []; }
}

/** @param {Waiting[]} items */
function keep(items) {
  localStorage.setItem(NAME, JSON.stringify(items));
  document.dispatchEvent(new CustomEvent("soffit-queue"));
}

/** @param {string} text @returns {Entry} */
export function entry(text) {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  const key = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return { key, text, taken_at: new Date().toISOString().replace(/\.\d+Z$/, "+00:00"), instrument: "", drive: "" };
}

let sending = false;

/**
 * Put a reading into the queue and send all that waits.
 * @param {string} path below the job @param {any} body @param {string} key
 */
export async function put(path, body, key) {
  keep([...waiting(), { path, body, key }]);
  return send();
}

/**
 * Send what waits, oldest first.
 * @returns {Promise<any>} the last answer; nothing where the network is gone
 */
export async function send() {
  if (sending) return null;
  sending = true;
  let last = null;
  try {
    for (let items = waiting(); items.length; items = waiting()) {
      const [first] = items;
      try {
        last = await ask("POST", `${here}${first.path}`, first.body);
        keep(waiting().filter((item) => item.key !== first.key));
      } catch (error) {
        const gone = error instanceof Fault && (error.status === 0 || error.status >= 500);
        if (gone) return last;
        keep(waiting().filter((item) => item.key !== first.key));
        throw error;
      }
    }
  } finally {
    sending = false;
  }
  return last;
}

addEventListener("online", () => { send().catch(() => undefined); });
setInterval(() => { if (waiting().length) send().then((answer) => { if (answer) document.dispatchEvent(new CustomEvent("soffit-sent", { detail: answer })); }).catch(() => undefined); }, 4000);
