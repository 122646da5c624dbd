// @ts-check
/** Plan files: take the rooms that are right, say what a file does not, lay more files beside it. */
import { ask, make, metresOf, need } from "./api.js";
import { say, tell } from "./page.js";

const keep = /** @type {HTMLFormElement} */ (need("keep"));
const first = keep.dataset.plan || "";
const NS = "http://www.w3.org/2000/svg";

/** @param {Element} section */
const ticked = (section) => /** @type {HTMLInputElement[]} */ ([...section.querySelectorAll('input[name="rooms"]:checked')]).map((box) => box.value);
const sections = /** @type {HTMLElement[]} */ ([...document.querySelectorAll("section.plan")]);

/** What is ticked outlives a file that is read again. */
function remember() {
  const open = Object.fromEntries(sections.map((section) => [section.dataset.plan, [...section.querySelectorAll('input[name="rooms"]:not(:checked)')].map((box) => /** @type {HTMLInputElement} */ (box).value)]));
  sessionStorage.setItem(`soffit-ticks-${first}`, JSON.stringify(open));
}
try {
  const open = JSON.parse(sessionStorage.getItem(`soffit-ticks-${first}`) || "{}");
  for (const section of sections) for (const value of open[section.dataset.plan || ""] || []) {
    const box = /** @type {HTMLInputElement | null} */ (section.querySelector(`input[name="rooms"][value="${CSS.escape(value)}"]`));
    if (box) box.checked = false;
  }
} catch { /* what another page wrote there is no reason to stop */ }

/** @param {boolean} accept */
async function send(accept) {
  const form = new FormData(keep);
  const job = String(form.get("job") || "");
  const rooms = Object.fromEntries(sections.map((section) => [section.dataset.plan || "", ticked(section)]));
  const { [first]: mine, ...more } = rooms;
  try {
    const told = await ask("POST", `/api/plan-files/${first}/keep`, {
      title: String(form.get("title") || ""), job, is_imperial: form.get("habit") === "imperial", rooms: mine || [], more, accept,
    });
    if (job && !told.changed && told.differences.length) {
      need("differences").replaceChildren(make("h2", {}, "What the plan says differently now"),
        make("ul", {}, ...told.differences.map((/** @type {any} */ item) => make("li", {}, Object.values(item).filter((v) => typeof v === "string").join(" ")))),
        make("button", { type: "button", class: "main", onclick: () => send(true) }, "Take these over"));
      return;
    }
    if (!job && !Object.values(rooms).some((keys) => keys.length)) sessionStorage.setItem("soffit-said", "Room 1 stands for the first room: draw it anew on the plan, then the others.");
    location.assign(`/jobs/${told.job}/survey`);
  } catch (error) {
    tell(error);
  }
}

/** @param {string} plan @param {Record<string, any>} body */
async function again(plan, body) {
  remember();
  say("Reading it again …");
  try {
    await ask("POST", `/api/plan-files/${plan}/again`, body);
    location.reload();
  } catch (error) {
    tell(error);
  }
}

keep.addEventListener("submit", (event) => { event.preventDefault(); send(false); });
for (const section of sections) {
  section.querySelector("form[data-again]")?.addEventListener("submit", (event) => {
    event.preventDefault();
    const form = new FormData(/** @type {HTMLFormElement} */ (event.target));
    again(section.dataset.plan || "", Object.fromEntries([...form].map(([name, value]) => [name, String(value)])));
  });
  const form = /** @type {HTMLFormElement | null} */ (section.querySelector("form.calibrate"));
  if (form) calibrate(form, section.dataset.plan || "");
}

need("beside").addEventListener("submit", async (event) => {
  event.preventDefault();
  const files = [.../** @type {FileList} */ (/** @type {HTMLInputElement} */ (need("beside-file")).files)];
  remember();
  try {
    for (const file of files) {
      say(`Reading ${file.name} …`);
      await ask("POST", `/api/plan-files/upload?name=${encodeURIComponent(file.name)}&beside=${first}`, file);
    }
    location.reload();
  } catch (error) {
    tell(error);
  }
});

// -- the size of a picture -------------------------------------------------------------------

/** Press two places, or four corners of a rectangle, and say how long it is. @param {HTMLFormElement} form @param {string} plan */
function calibrate(form, plan) {
  const stage = /** @type {HTMLElement} */ (form.querySelector(".stage"));
  const image = /** @type {HTMLImageElement} */ (stage.querySelector("img"));
  const marks = /** @type {SVGSVGElement} */ (stage.querySelector(".marks"));
  const said = /** @type {HTMLElement} */ (form.querySelector("[role=status]"));
  const wide = Number(form.dataset.width), tall = Number(form.dataset.height);
  marks.setAttribute("viewBox", `0 0 ${wide} ${tall}`);
  /** @type {number[][]} pixels of the file, from the upper left */
  const places = [];
  let cross = [wide / 2, tall / 2];
  let keys = false;
  const four = () => new FormData(form).get("way") === "four";
  const names = () => (four() ? ["lower left corner", "lower right corner", "upper right corner", "upper left corner"] : ["first place", "second place"]);

  function show() {
    const r = wide / Math.max(stage.clientWidth, 1) * 7;
    marks.innerHTML = places.map(([x, y], i) => `<circle cx="${x}" cy="${y}" r="${r}"/><path d="M${x - 2 * r} ${y}h${4 * r}M${x} ${y - 2 * r}v${4 * r}"/><text x="${x + 1.4 * r}" y="${y - 1.4 * r}" font-size="${3 * r}">${i + 1}</text>`).join("")
      + (places.length > 1 ? `<path d="M${places.map((p) => p.join(" ")).join("L")}${places.length > 2 ? "Z" : ""}"/>` : "")
      + (keys ? `<path class="cross" d="M${cross[0] - 3 * r} ${cross[1]}h${6 * r}M${cross[0]} ${cross[1] - 3 * r}v${6 * r}"/>` : "");
    const left = names()[places.length];
    said.textContent = left ? `Press the ${left}.` : "Now write the length, and take this size.";
    for (const label of form.querySelectorAll("label.field")) /** @type {HTMLElement} */ (label).hidden = label.classList.contains("four") !== four();
  }

  /** @param {number[]} place */
  function set(place) {
    if (places.length >= names().length) return;
    places.push(place);
    show();
  }

  stage.addEventListener("pointerup", (event) => {
    const box = image.getBoundingClientRect();
    keys = false;
    set([(event.clientX - box.left) / box.width * wide, (event.clientY - box.top) / box.height * tall]);
  });
  stage.addEventListener("keydown", (event) => {
    const step = /** @type {Record<string, number[]>} */ ({ ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] })[event.key];
    const far = wide / 200 * (event.shiftKey ? 10 : 1);
    if (step) { event.preventDefault(); keys = true; cross = [Math.min(Math.max(cross[0] + step[0] * far, 0), wide), Math.min(Math.max(cross[1] + step[1] * far, 0), tall)]; show(); }
    else if (event.key === "Enter") { event.preventDefault(); keys = true; set([...cross]); }
    else if (event.key === "Backspace") { event.preventDefault(); places.pop(); show(); }
  });
  /** @type {HTMLButtonElement} */ (form.querySelector('[data-act="back"]')).addEventListener("click", () => { places.pop(); show(); });
  form.addEventListener("change", (event) => { if (/** @type {HTMLInputElement} */ (event.target).name === "way") { places.length = 0; show(); } });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const told = new FormData(form);
    if (places.length < names().length) { say(`Press the ${names()[places.length]} first.`); stage.focus(); return; }
    const lengths = (four() ? ["wide", "deep"] : ["apart"]).map((name) => metresOf(String(told.get(name))));
    if (lengths.some((value) => !(value > 0))) { say("Write a length with its unit, such as 7.2 m."); return; }
    again(plan, { corners: four() ? squared(lengths) : apart(lengths[0]) });
  });
  new ResizeObserver(show).observe(stage);

  /** @param {number[]} size */
  function squared([a, b]) {
    const plan = [[0, 0], [a, 0], [a, b], [0, b]];
    return places.map((place, i) => [...place, ...plan[i]]);
  }

  /** The picture stays upright; its lower left corner is the origin. @param {number} far */
  function apart(far) {
    const [p, q] = places;
    const scale = far / Math.hypot(q[0] - p[0], q[1] - p[1]);
    return [p, q].map(([x, y]) => [x, y, x * scale, (tall - y) * scale]);
  }
}
