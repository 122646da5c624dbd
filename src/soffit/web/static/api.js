// @ts-check
/** What the page says to its own server: every call is in /api/openapi.json. */

/** @typedef {{what: string, where: string, why: string, do: string}} Part */

/** An answer that says what is wrong. */
export class Fault extends Error {
  /** @param {number} status @param {Part} error @param {Part[]} more */
  constructor(status, error, more) {
    super(error.what);
    this.status = status;
    this.error = error;
    this.more = more;
  }
}

export const job = document.body.dataset.job || "";
export const here = `/api/jobs/${encodeURIComponent(job)}`;

/** @returns {string} who is drawing, as they wrote it in the title block */
export function who() {
  return localStorage.getItem("soffit-who") || "";
}

/**
 * Ask the server.
 * @param {string} method @param {string} path
 * @param {unknown} [body] plain data, or a file
 * @param {AbortSignal} [signal]
 * @returns {Promise<any>}
 */
export async function ask(method, path, body, signal) {
  const answer = await sent(method, path, body, signal);
  const text = await answer.text();
  return (answer.headers.get("content-type") || "").includes("json") ? JSON.parse(text) : text;
}

/** Ask for bytes. @param {string} path @returns {Promise<ArrayBuffer>} */
export async function askBytes(path) {
  return (await sent("GET", path)).arrayBuffer();
}

/**
 * @param {string} method @param {string} path @param {unknown} [body] @param {AbortSignal} [signal]
 * @returns {Promise<Response>} a good answer; others are thrown as faults
 */
async function sent(method, path, body, signal) {
  /** @type {Record<string, string>} */
  const headers = { "X-Soffit-Who": encodeURIComponent(who()) };
  /** @type {BodyInit | undefined} */
  let content;
  if (body instanceof Blob) {
    content = body;
    headers["Content-Type"] = "application/octet-stream";
  } else if (body !== undefined) {
    content = JSON.stringify(body);
    headers["Content-Type"] = "application/json";
  }
  let answer;
  try {
    answer = await fetch(path, { method, headers, body: content, signal, credentials: "same-origin" });
  } catch (error) {
    if (error instanceof DOMException && error.name === "AbortError") throw error;
    throw new Fault(0, {
      what: "the page cannot reach its server",
      where: location.host,
      why: "the network is gone, or soffit serve was stopped",
      do: "come back into range or start it again; what was shown as saved is safe",
    }, []);
  }
  if (!answer.ok) {
    let told;
    try { told = JSON.parse(await answer.text()); } catch { told = {}; }
    const error = told.error || { what: `the server answers ${answer.status}`, where: path, why: "", do: "load the page again" };
    throw new Fault(answer.status, error, told.more || []);
  }
  return answer;
}

/** @returns {number} revision of the design that this page shows */
export function revision() {
  return Number(document.body.dataset.revision);
}

/** @param {number} value */
export function setRevision(value) {
  document.body.dataset.revision = String(value);
  const cell = document.getElementById("revision");
  if (cell) cell.textContent = String(value);
}

/** @returns {any} what the server wrote into the sheet for its script */
export function data() {
  const element = document.getElementById("data");
  return element ? JSON.parse(element.textContent || "{}") : {};
}

/** @param {string} id @returns {HTMLElement} */
export function need(id) {
  const found = document.getElementById(id);
  if (!found) throw new Error(`no element ${id}`);
  return found;
}

/**
 * Make an element.
 * @param {string} tag @param {Record<string, any>} [attributes] @param {...(Node|string|null)} children
 * @returns {HTMLElement}
 */
export function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(name, String(value));
  }
  for (const child of children) if (child !== null) element.append(child);
  return element;
}

/** @param {number} metres @param {boolean} [fine] @returns {string} in the job's habit */
export function length(metres, fine = false) {
  if (document.body.dataset.imperial !== "1") return `${metres.toFixed(fine ? 3 : 2)} m`;
  const inches = metres / 0.0254;
  const step = fine ? 8 : 1;
  const whole = Math.round(inches * step) / step;
  const feet = Math.floor(whole / 12);
  const rest = whole - feet * 12;
  return feet ? `${feet}' ${rest}"` : `${rest}"`;
}

/** @param {string} text a length as typed, a bare number in metres @returns {number} metres, or not a number */
export function metresOf(text) {
  const clean = text.trim().toLowerCase().replace(/,(?=\d)/, ".").replace(/[\u2032\u2019]/g, "'").replace(/[\u2033\u201d]/g, '"');
  const plain = clean.match(/^(-?[\d.]+)\s*(m|mm|cm|ft|in|'|")?$/);
  const factors = /** @type {Record<string, number>} */ ({ m: 1, mm: 0.001, cm: 0.01, ft: 0.3048, "'": 0.3048, in: 0.0254, '"': 0.0254 });
  if (plain) return Number(plain[1]) * factors[plain[2] || "m"];
  const feet = clean.match(/^(-?[\d.]+)\s*(?:ft|')\s*([\d.]+)\s*(?:in|")?$/);
  return feet ? Number(feet[1]) * 0.3048 + Math.sign(Number(feet[1]) || 1) * Number(feet[2]) * 0.0254 : NaN;
}
