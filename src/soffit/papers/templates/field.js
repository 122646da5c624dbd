"use strict";
(function () {
  const data = JSON.parse(document.getElementById("data").textContent);
  const $ = (id) => document.getElementById(id);
  const byKey = new Map(data.speakers.map((s) => [s.k, s]));
  const lines = new Map(data.lines.map((l) => [l.k, l]));
  const rooms = new Map(data.rooms.map((r) => [r.k, r]));
  const place = "soffit-field:" + data.hash + ":" + data.revision;

  // ---- what is kept ---------------------------------------------------------------------
  // Entries are only ever added; each has a key of its own, so that merging twice adds nothing.
  let kept = true;
  let book = { device: "", count: 0, entries: [], sent: 0, who: "", meter: "" };
  function load() {
    try {
      const probe = place + ":probe";
      localStorage.setItem(probe, "1");
      localStorage.removeItem(probe);
      const text = localStorage.getItem(place);
      if (text) book = Object.assign(book, JSON.parse(text));
    } catch (error) { kept = false; }
    if (!book.device) {
      const bytes = new Uint8Array(6);
      (window.crypto || {}).getRandomValues ? crypto.getRandomValues(bytes)
        : bytes.forEach((_, i) => { bytes[i] = Math.random() * 256; });
      book.device = Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
    }
  }
  function save() {
    if (kept) {
      try { localStorage.setItem(place, JSON.stringify(book)); } catch (error) { kept = false; }
    }
    show();
  }
  function add(kind, entry) {
    book.count += 1;
    const key = "f" + book.device + "-" + book.count;
    book.entries.push(Object.assign({ kind: kind, key: key, taken_at: now() }, entry));
    save();
    return key;
  }
  function now() { return new Date().toISOString().slice(0, 19) + "Z"; }
  function unsent() { return book.entries.length - book.sent; }
  window.addEventListener("beforeunload", (event) => {
    if (!kept && unsent()) { event.preventDefault(); event.returnValue = ""; }
  });

  // ---- readings -------------------------------------------------------------------------
  // "OL" and "> 10k" and "< 1" are what meters say, and stay what they are.
  function read(text) {
    const word = text.trim().replace(",", ".");
    if (!word) return null;
    if (/^o\.?l\.?$/i.test(word)) return { value: null, bound: ">", word: "OL" };
    const match = /^([<>]?)\s*(\d+(?:\.\d*)?|\.\d+)\s*([kKmM]?)/.exec(word);
    if (!match) return undefined;
    const factor = { k: 1e3, K: 1e3, M: 1e6, m: 1e-3 }[match[3]] || 1;
    return { value: parseFloat(match[2]) * factor, bound: match[1] || "=", word: "" };
  }
  function reading(fields) {
    return Object.assign({
      place_key: "", place: "", quantity: "", value: null, bound: "=", word: "", frequency_hz: null,
      direction: "", drive: "", instrument: book.meter, who: book.who, revision: data.revision,
      strikes: "", note: ""
    }, fields);
  }
  function last(test) {
    for (let i = book.entries.length - 1; i >= 0; i -= 1) if (test(book.entries[i])) return book.entries[i];
    return null;
  }
  function ticked(key, what) {
    const found = last((e) => e.kind === "tick" && e.target_key === key && e.what === what);
    return !!found && found.done;
  }

  // ---- what a change does, as far as it can be told here -----------------------------------
  function db(ratio) { return 10 * Math.log10(ratio); }
  function sign(value, digits) { return (value > 0 ? "+" : value < 0 ? "−" : "±") + Math.abs(value).toFixed(digits); }
  function feet(metres) { return data.imperial ? (metres / 0.3048).toFixed(0) + " ft" : metres.toFixed(1) + " m"; }
  function lineText(line, watts) {
    if (!line) return "";
    const ohm = 1 / (1 / line.ohm + watts / (line.u * line.u));
    const used = line.rated ? ", amplifier at " + (100 * (line.drawn + watts) / line.rated).toFixed(0) + " % of its rating" : "";
    return "Line " + line.l + ": taps " + (line.load + watts).toFixed(1) + " W (" + sign(watts, 1) + "), expect about " + ohm.toPrecision(3) + " Ω at 1 kHz" + used + ".";
  }
  const ways = { left: [-1, 0], right: [1, 0], up: [0, 1], down: [0, -1] };
  // A wall says which way on any plan, however it is turned; the words in brackets are for the desk.
  function towards(s, way) {
    const wall = data.texts[s.w[Object.keys(ways).indexOf(way)]];
    return (wall ? "towards the " + wall + " " : "") + "(" + way + " on the plan of this page)";
  }
  const effects = {
    tap(s, value) {
      const watts = parseFloat(String(value).replace(",", "."));
      if (!(watts > 0)) return null;
      const change = db(watts / s.t);
      const ask = Math.abs(change) > 3.1;
      return { value: watts + " W", ask: ask, text: lineText(lines.get(s.n), watts - s.t) + " Level under it " + sign(change, 1) + " dB." + (ask ? " More than one step: ask the desk." : "") };
    },
    move(s, value) {
      const room = rooms.get(s.r);
      if (!(value in ways)) return value.trim() ? { value: value.trim(), ask: true, text: "No tiles to count here: the desk measures with you and moves it. Cable in and on changes by as much." } : null;
      const [dx, dy] = ways[value];
      const step = Math.hypot(dx * room.px, dy * room.py);
      const fall = s.h ? db(1 / (1 + (step / s.h) ** 2)) : 0;
      return { value: "one tile " + towards(s, value), ask: false, text: "Cable in and on: up to " + feet(step) + " longer or shorter each; the line's loss hardly changes. Its own direct sound right under the old tile " + sign(fall, 1) + " dB; the spread of the room is for the desk to compute." };
    },
    type(s, value) {
      return value.trim() ? { value: value.trim(), ask: true, text: "Another type changes level, spread, hole and weight: the desk must say yes. Check that it has a transformer for " + data.volts + " V and set its tap first." } : null;
    },
    order(s, value) {
      const other = data.speakers.find((t) => t.l.toLowerCase() === value.trim().toLowerCase());
      if (!other) return null;
      const same = other.n === s.n;
      return { value: "fed from " + other.l, ask: !same, text: same ? "Same line: taps and load stay. Loss at the far end changes a little, and ohms read onward at opened joints change: the desk prints new ones." : "Other line: both loads change. " + lineText(lines.get(s.n), -s.t) + " " + lineText(lines.get(other.n), s.t) };
    },
    grid(s, value) {
      return value.trim() ? { value: value.trim(), ask: true, text: "The whole grid of this room lies elsewhere: every tile of it moves. Up to half a tile changes levels by less than 1 dB as a rule of thumb; the desk must place anew if it is more." } : null;
    },
    blocked(s, value) {
      return value.trim() ? { value: value.trim(), ask: true, text: "Left out, until the desk answers: " + lineText(lines.get(s.n), -s.t) + " Its place gets " + "the neighbours' sound only." } : null;
    }
  };
  const names = { tap: "other tap", move: "hangs elsewhere", type: "other type", order: "wired in other order", grid: "grid lies elsewhere", blocked: "something in the way above" };

  // ---- cards ----------------------------------------------------------------------------
  const what = ["hole", "safety wire", "tap", "wires + −", "hung", "heard"];
  const ears = ["", "heard", "silent", "loud", "faint", "distorted", "rattle"];
  const fields = [
    ["ohms onward, line opened here", "impedance", "out", 1000],
    ["ohms of this unit alone", "impedance", "alone", 1000],
    ["volts at it", "voltage", "", null]
  ];
  function el(tag, props, ...children) {
    const node = document.createElement(tag);
    Object.entries(props || {}).forEach(([name, value]) => {
      if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
      else if (value !== null && value !== undefined) node.setAttribute(name, value);
    });
    children.forEach((child) => node.append(child));
    return node;
  }
  function inputFor(name, save_, old) {
    const box = el("input", { type: "text", inputmode: "decimal", value: old || "", "aria-label": name });
    const state = el("span", { class: "small", role: "status" });
    box.addEventListener("change", () => {
      const got = read(box.value);
      if (got === undefined) { state.textContent = "a number, OL, > 10k or < 1"; state.className = "warn"; return; }
      if (got === null) return;
      save_(got);
      state.textContent = "kept " + now().slice(11, 16);
      state.className = "small";
    });
    return el("label", {}, name, box, state);
  }
  function fill(card) {
    if (card.dataset.filled) return;
    card.dataset.filled = "1";
    const s = byKey.get(card.dataset.key);
    const body = card.querySelector(".live");
    const facts = el("dl", {});
    for (let i = 0; i < s.f.length; i += 2) {
      const name = data.texts[s.f[i]];
      const words = data.texts[s.f[i + 1]];
      if (name === "caution") body.append(el("div", { class: "note" }, words));
      else facts.append(el("dt", {}, name), el("dd", {}, words));
    }
    body.append(facts);
    const ticks = el("div", { class: "ticks" });
    what.forEach((name) => {
      const button = el("button", { type: "button", "aria-pressed": String(ticked(s.k, name)) }, name);
      button.addEventListener("click", () => {
        const done = button.getAttribute("aria-pressed") !== "true";
        button.setAttribute("aria-pressed", String(done));
        add("tick", { target_key: s.k, target: s.l, what: name, done: done });
      });
      ticks.append(button);
    });
    body.append(ticks);
    fields.forEach(([name, quantity, direction, hz]) => {
      const old = last((e) => e.kind === "reading" && e.place_key === s.k && e.quantity === quantity && e.direction === direction);
      body.append(inputFor(name, (got) => add("reading", reading(Object.assign({ place_key: s.k, place: s.l, quantity: quantity, direction: direction, frequency_hz: hz }, got))), old ? text(old) : ""));
    });
    const ear = el("select", { "aria-label": "by ear" }, ...ears.map((w) => el("option", { value: w }, w || "by ear ...")));
    const heard = last((e) => e.kind === "reading" && e.place_key === s.k && e.quantity === "ear");
    if (heard) ear.value = heard.word;
    ear.addEventListener("change", () => { if (ear.value) add("reading", reading({ place_key: s.k, place: s.l, quantity: "ear", word: ear.value })); });
    body.append(el("label", {}, "by ear", ear), changeForm(s));
  }
  function text(e) { return e.word === "OL" ? "OL" : (e.bound === "=" ? "" : e.bound + " ") + e.value; }
  function changeForm(s) {
    const kind = el("select", { "aria-label": "what is different" }, el("option", { value: "" }, "something is different up here ..."), ...Object.entries(names).map(([k, n]) => el("option", { value: k }, n)));
    const slot = el("div", {});
    const note = el("div", { class: "note ok", hidden: "" });
    const keep = el("button", { type: "button", class: "go main", hidden: "" }, "Keep");
    let got = null;
    function tell(value) {
      got = value === "" ? null : effects[kind.value](s, value);
      note.hidden = keep.hidden = !got;
      if (!got) return;
      note.className = got.ask ? "note" : "note ok";
      note.textContent = got.text;
      keep.textContent = got.ask ? "Keep as a question for the desk" : "Keep as built";
    }
    kind.addEventListener("change", () => {
      slot.textContent = "";
      tell("");
      if (!kind.value) return;
      let box;
      if (kind.value === "move" && rooms.get(s.r).px) {
        box = el("select", { "aria-label": "which way" }, el("option", { value: "" }, "which way ..."), ...Object.keys(ways).map((w) => el("option", { value: w }, towards(s, w).replace(/^(towards .*?) \(.*$/, "$1"))));
      } else {
        const hint = { move: "how far, towards which wall", tap: "watts now set", type: "type as printed on it", order: "fed from which label", grid: "how far, which way", blocked: "what is there" }[kind.value];
        box = el("input", { type: "text", placeholder: hint, "aria-label": hint });
      }
      box.addEventListener("input", () => tell(box.value));
      slot.append(box);
    });
    keep.addEventListener("click", () => {
      add("change", { change: kind.value, target_key: s.k, target: s.l, room_key: s.r, value: got.value, effect: got.text, as_built: !got.ask, who: book.who, revision: data.revision });
      kind.value = ""; slot.textContent = ""; tell("");
    });
    return el("div", {}, el("label", {}, "different from the papers", kind), slot, note, keep);
  }

  // ---- tests, changes, sending ------------------------------------------------------------
  const settings = ["high-pass", "crossover", "delay", "test drive", "limiter", "input level", "equalisation", "paging priority"];
  const seen = ["", "as asked", "not right", "not done"];
  function same(e, t) {
    return e.kind === "reading" && e.place_key === t.key && e.quantity === t.quantity && e.direction === (t.direction || "") && e.frequency_hz === (t.numeric ? t.hz : null) && (!e.step || e.step === t.step);
  }
  function tests() {
    const list = $("tests");
    let phase = "";
    data.tests.forEach((t) => {
      if (t.phase !== phase) { phase = t.phase; list.append(el("li", {}, el("b", {}, t.step.split(".")[0] + "  " + phase))); }
      const old = last((e) => same(e, t));
      const item = el("li", {}, el("b", {}, t.step + "  " + t.place + " "), t.what + ". Expected: " + t.expected + (t.drive ? ". " + (t.drive.startsWith("nothing: ") ? t.drive.slice(9) : "On the line: " + t.drive) : ""));
      const name = "step " + t.step + ", " + t.place;
      const words = (word) => add("reading", Object.assign(reading({ place_key: t.key, place: t.place, quantity: t.quantity, word: word, drive: t.drive }), { step: t.step }));
      if (t.numeric) {
        item.append(inputFor("reading of " + name, (got) => {
          add("reading", Object.assign(reading(Object.assign({ place_key: t.key, place: t.place, quantity: t.quantity, direction: t.direction, frequency_hz: t.hz, drive: t.drive }, got)), { step: t.step }));
          verdict(item, t, got);
        }, old ? text(old) : ""));
        if (old) verdict(item, t, old);
      } else if (t.quantity === "setting") {
        const kind = settings.find((n) => t.expected.startsWith(n)) || "";
        const box = el("input", { type: "text", "aria-label": "as left, " + name, placeholder: "as left", value: old ? old.word : "" });
        const state = el("span", { class: "small", role: "status" });
        box.addEventListener("change", () => {
          const left = box.value.trim();
          if (!left) return;
          words(kind && !left.toLowerCase().startsWith(kind) ? kind + " " + left : left);
          state.textContent = "kept " + now().slice(11, 16);
        });
        item.append(el("label", {}, kind ? kind + " as left" : "as left", box, state));
      } else {
        const choices = t.quantity === "ear" ? ears : seen;
        const box = el("select", { "aria-label": "result of " + name }, ...choices.map((w) => el("option", { value: w }, w || "result ...")));
        if (old) box.value = old.word;
        box.addEventListener("change", () => { if (box.value) words(box.value); });
        item.append(box);
      }
      list.append(item);
    });
  }
  function verdict(item, t, got) {
    let out = item.querySelector(".verdict");
    if (!out) { out = el("div", { class: "verdict" }); item.append(out); }
    const unit = t.factor || 1;
    const low = t.low === null ? -Infinity : t.low * unit;
    const high = t.high === null ? Infinity : t.high * unit;
    const value = got.word === "OL" ? Infinity : got.value;
    const inside = value >= low && value <= high && !(got.bound === ">" && value < low) && !(got.bound === "<" && value > high);
    out.className = "verdict " + (inside ? "small" : "warn");
    out.textContent = inside ? "as planned" : "outside: the desk's trace says where to look";
  }
  function show() {
    const hung = data.speakers.filter((s) => ticked(s.k, "hung")).length;
    $("status").textContent = hung + " of " + data.speakers.length + " hung, " + unsent() + " entries not sent" + (kept ? "" : ", NOT KEPT by this viewer");
    $("status").className = kept ? "" : "warn";
    document.querySelectorAll(".plan g.s").forEach((g) => {
      const done = ticked(g.dataset.key, "hung");
      g.classList.toggle("done", done);
    });
    document.querySelectorAll("details[data-key]").forEach((card) => {
      const s = card.dataset.key;
      const n = what.filter((w) => ticked(s, w)).length;
      card.querySelector(".mark").textContent = n === what.length ? "✓ done" : n ? n + " of " + what.length : "";
    });
    const list = $("kept");
    list.textContent = "";
    book.entries.slice().reverse().filter((e) => e.kind === "change").forEach((e) => {
      list.append(el("li", {}, el("b", {}, e.target + " "), names[e.change] + ": " + e.value + ". " + e.effect + " ", el("span", { class: e.as_built ? "small" : "warn" }, e.as_built ? "as built" : "question for the desk")));
    });
    if (!list.children.length) list.append(el("li", { class: "small" }, "Nothing differs from the papers so far."));
  }
  function bundle() {
    return JSON.stringify({
      format: "soffit field", version: 1, job: data.job, job_hash: data.hash, revision: data.revision,
      device: book.device, exported_at: now(), entries: book.entries
    }, null, 1);
  }
  function send() {
    const name = "field-" + data.hash + "-" + book.device + "-" + book.count + ".json";
    const blob = new Blob([bundle()], { type: "application/json" });
    const link = el("a", { href: URL.createObjectURL(blob), download: name });
    document.body.append(link);
    link.click();
    link.remove();
    book.sent = book.entries.length;
    save();
  }

  // ---- opening --------------------------------------------------------------------------
  function open(name) {
    document.querySelectorAll("main > section").forEach((s) => { s.hidden = s.id !== name; });
    document.querySelectorAll("nav button").forEach((b) => b.setAttribute("aria-selected", String(b.dataset.for === name)));
  }
  function go(key) {
    const card = document.querySelector('details[data-key="' + CSS.escape(key) + '"]');
    if (!card) return;
    open("cards");
    card.hidden = false;
    card.open = true;
    fill(card);
    card.scrollIntoView({ block: "start" });
    window.scrollBy(0, -130);
    document.querySelectorAll(".plan g.s").forEach((g) => g.classList.toggle("here", g.dataset.key === key));
  }
  load();
  $("noscripts").hidden = true;
  $("selftest").className = kept ? "note ok" : "note";
  $("selftest").textContent = kept
    ? "Self-test: scripts run and this viewer keeps what you enter. Send it to the desk before you delete anything."
    : "Self-test: scripts run, but this viewer KEEPS NOTHING. Open the file in the phone's browser, or send before you close.";
  document.querySelectorAll("nav button").forEach((b) => b.addEventListener("click", () => open(b.dataset.for)));
  document.querySelectorAll("details[data-key]").forEach((d) => d.addEventListener("toggle", () => { if (d.open) fill(d); }));
  document.querySelectorAll(".plan g.s").forEach((g) => {
    g.addEventListener("click", () => go(g.dataset.key));
    g.addEventListener("keydown", (e) => { if (e.key === "Enter" || e.key === " ") { e.preventDefault(); go(g.dataset.key); } });
  });
  $("search").addEventListener("input", () => {
    const want = $("search").value.trim().toLowerCase();
    if (want) open("cards");
    document.querySelectorAll("details[data-key]").forEach((d) => { d.hidden = !!want && !d.querySelector("summary").textContent.toLowerCase().includes(want); });
  });
  [["who", "who"], ["meter", "meter"]].forEach(([id, name]) => {
    $(id).value = book[name];
    $(id).addEventListener("change", () => { book[name] = $(id).value; save(); });
  });
  $("send").addEventListener("click", send);
  $("send2").addEventListener("click", send);
  $("copy").addEventListener("click", () => { $("raw").value = bundle(); $("raw").hidden = false; $("raw").select(); });
  tests();
  open("plans");
  save();
  if (location.hash.length > 1) go(decodeURIComponent(location.hash.slice(1)));
  window.addEventListener("hashchange", () => go(decodeURIComponent(location.hash.slice(1))));
}());
