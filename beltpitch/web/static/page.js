// Draws what the server shows. Every picture comes whole; nothing is worked out here but where a
// place on a ruler falls on the screen. Texts are set as text, never as markup.
"use strict";

const $ = (id) => document.getElementById(id);
const SVG = "http://www.w3.org/2000/svg";
const MARKS = {
  slack: "\u25C1", within: "\u2713", tight: "\u25B7", over: "\u25B6", cannot: "?",
  matched: "=", unmatched: "\u2260", "not yet known": "?",
};
const now = { scene: null, portrait: null, shop: null, drawn: {}, touched: false };

// --- making elements -----------------------------------------------------------------------------

function made(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === false) continue;
    element.setAttribute(key, value === true ? "" : value);
  }
  element.append(...children.filter((child) => child !== null));
  return element;
}

function shape(tag, attributes = {}, text = null) {
  const element = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text !== null) element.textContent = text;
  return element;
}

function line(x1, y1, x2, y2, kind) {
  return shape("line", { x1, y1, x2, y2, class: kind });
}

function canvas(width, height) {
  return shape("svg", { viewBox: `0 0 ${width} ${height}`, height, "aria-hidden": "true" });
}

function changed(what, record) {
  const text = JSON.stringify(record);
  if (now.drawn[what] === text) return false;
  now.drawn[what] = text;
  return true;
}

function word(text) {
  const at = text.search(/, | \(/);  // its share and what it rests on stand smaller behind it
  const said = at < 0 ? text : text.slice(0, at), more = at < 0 ? null : text.slice(at);
  return made("span", { class: `word w-${said.split(" ")[0]}` }, `${MARKS[said] || MARKS[said.split(" ")[0]] || ""} ${said}`,
    more === null ? null : made("small", {}, more));
}

// --- the measurement -----------------------------------------------------------------------------

function drawScene() {
  const scene = now.scene;
  if (scene === null) return;
  $("step").hidden = scene.step === "";
  $("step").textContent = scene.step;
  $("order").textContent = scene.order;
  $("phase").textContent = scene.phase;
  $("advice").textContent = scene.early ? scene.early.words : scene.advice;
  document.title = titleOf(scene);
  $("first").hidden = scene.first === "";
  $("first").textContent = scene.first;
  drawList($("cautions"), scene.cautions);
  drawList($("safety"), scene.safety);
  if (changed("belts", scene.belts)) drawBelts(scene);
  if (changed("match", [scene.match, scene.order])) drawMatch(scene.match, scene.order);
  if (changed("ruler", [scene.ruler, scene.belts, scene.match])) drawRuler(scene);
  if (changed("plucks", scene.plucks)) drawPlucks(scene);
  if (!scene.listening) drawLevel({ at: 0, words: "" });
  drawActs(scene);
  drawBook(scene);
  drawWish(scene.wish);
}

function titleOf(scene) {
  const told = scene.belts.filter((b) => b.word !== "");
  if (told.length === 0) return "beltpitch";
  return `${told.map((b) => `${b.figure} ${b.unit}`).join(", ")} \u2013 beltpitch`;
}

function drawList(list, texts) {
  if (!changed(list.id, texts)) return;
  list.replaceChildren(...texts.map((text) => made("li", {}, text)));
  list.hidden = texts.length === 0;
}

function drawBelts(scene) {
  $("belts").className = scene.belts.length > 1 ? "two" : "";
  $("belts").replaceChildren(...scene.belts.map(beltCard));
  const told = scene.belts.filter((b) => b.word !== "");
  const words = told.map((b) => `${b.name}: ${b.figure} ${b.unit}, ${b.interval}, ${b.word}`);
  $("said").textContent = words.join(". ");
}

function beltCard(belt) {
  const beside = made("span", { class: "beside" },
    belt.word === "" ? null : word(belt.said),
    belt.interval === "" ? null : made("span", { class: "interval" }, `95 %: ${belt.interval}`));
  return made(
    "article", { class: `belt${belt.asked ? " asked" : ""}`, "aria-label": belt.name },
    made("div", { class: "head" },
      made("h2", {}, belt.name), made("p", { class: "kind" }, belt.kind)),
    made("p", { class: "big" },
      belt.figure === "" ? made("span", { class: "none" }, "no pluck yet")
        : made("span", { class: "figure" }, belt.figure, made("small", {}, belt.unit)),
      beside),
    belt.better === "" ? null : made("p", { class: "better" }, belt.better),
    belt.parts.length === 0 ? null
      : made("div", { class: "parts" }, ...belt.parts.map((words) => made("p", { class: "tone" }, words))),
    made("div", { class: "facts" },
      belt.tone === "" ? null : made("p", { class: "tone" }, belt.tone),
      belt.window === "" ? null : made("p", { class: "window" }, `window ${belt.window}`),
      details(belt.notes)),
  );
}

function details(notes) {
  return notes.length === 0 ? "" : made("details", {},
    made("summary", {}, "What this rests on"),
    made("ul", {}, ...notes.map((note) => made("li", {}, note))));
}

function drawMatch(match, order) {
  const box = $("match");
  box.hidden = match === null;
  if (match === null) return;
  box.replaceChildren(
    made("div", { class: "head" }, word(match.word), made("span", { class: "by" }, match.words),
      details(match.notes)),
    match.turn === null || order.startsWith(match.turn) ? "" : made("p", { class: "turn" }, match.turn),
    match.hint === null ? "" : made("p", {}, match.hint),
    match.reached === "" ? "" : made("p", { class: "reached" }, `Reached: ${match.reached}`),
  );
}

// --- the ruler -----------------------------------------------------------------------------------

const ROW = 92, EDGE = 30, AXIS = 44;

function drawRuler(scene) {
  const box = $("ruler");
  const rows = scene.belts.filter((belt) => belt.row !== null);
  box.hidden = scene.ruler === null || rows.length === 0;
  if (box.hidden) return;
  // two rows are drawn smaller, so that both and what to do are seen without scrolling
  const larger = box.clientWidth <= 900 ? 1 : scene.belts.length > 1 ? 1.2 : 1.4;
  const width = Math.max(280, box.clientWidth / larger);
  const height = AXIS + ROW * rows.length + 6;
  const x = (share) => EDGE + share * (width - 2 * EDGE);
  const svg = canvas(width, height);
  svg.setAttribute("height", height * larger);
  svg.append(shape("rect", { x: 1, y: 20, width: width - 2, height: height - 22, rx: 3, class: "steel" }));
  drawGraduations(svg, scene.ruler, x);
  rows.forEach((belt, i) => drawRow(svg, belt, i, AXIS + ROW * i, x, scene));
  const said = rows.map((belt) => `${belt.name}: ${belt.row.words}`).join(". ");
  box.replaceChildren(svg);
  box.setAttribute("role", "img");
  box.setAttribute("aria-label", `Ruler of ${scene.ruler.unit}. ${said}`);
}

function drawGraduations(svg, ruler, x) {
  const marks = ruler.graduations;
  marks.forEach((mark, i) => {
    svg.append(line(x(mark.at), 20, x(mark.at), 36, "cut"));
    svg.append(shape("text", { x: x(mark.at), y: 14, "text-anchor": "middle", class: "strong" }, mark.words));
    if (i === 0) return;
    const before = x(marks[i - 1].at), step = (x(mark.at) - before) / 5;
    for (let k = 1; k < 5; k += 1) {
      svg.append(line(before + k * step, 20, before + k * step, 28, "fine"));
    }
  });
  const last = marks[marks.length - 1];
  svg.append(shape("text", { x: x(last.at) + 8 + 4 * last.words.length, y: 14 }, ruler.unit));
}

function drawRow(svg, belt, i, top, x, scene) {
  const row = belt.row, match = scene.match;
  const compared = match !== null && match.bar !== null && scene.belts.length > 1;
  if (row.window !== null) drawWindow(svg, row.window, top, x, !(compared && i === 1));
  if (compared && i === 1) drawZone(svg, match.zone, top, x);
  if (scene.belts.length > 1) {
    svg.append(shape("text", { x: 8, y: top + 10, class: "strong" }, shortened(belt.name)));
  }
  for (const pluck of row.plucks) {
    svg.append(line(x(pluck.at), top + 22, x(pluck.at), top + 40, pluck.used ? "pluck" : "pluck out"));
  }
  const bar = compared ? (i === 1 ? match.bar : null) : row.bar;
  const mean = compared ? match.values[i] : row.mean;
  drawMean(svg, bar, mean, top + 60, x, compared ? match.word : belt.word);
}

function shortened(name) {
  return name.length > 24 ? `${name.slice(0, 23)}\u2026` : name;
}

function drawWindow(svg, strip, top, x, labelled) {
  const from = x(strip.from), to = x(strip.to);
  svg.append(shape("rect", { x: from, y: top + 18, width: to - from, height: 58, class: "strip" }));
  for (let at = from + 10; at < to; at += 16) {
    svg.append(line(at, top + 76, Math.min(to, at + 8), top + 68, "hatch"));
  }
  if (!strip.open_low) svg.append(line(from, top + 14, from, top + 80, "edge"));
  if (!strip.open_high) svg.append(line(to, top + 14, to, top + 80, "edge"));
  if (labelled && to - from > 70) svg.append(shape("text", { x: from + 5, y: top + 90, class: "small" }, "window"));
}

function drawZone(svg, zone, top, x) {
  const from = x(zone[0]), to = x(zone[1]);
  svg.append(shape("rect", { x: from, y: top + 46, width: to - from, height: 28, class: "zone" }));
  svg.append(line(from, top + 44, from, top + 78, "zone-edge"));
  svg.append(line(to, top + 44, to, top + 78, "zone-edge"));
  svg.append(shape("text", { x: (from + to) / 2, y: top + 90, "text-anchor": "middle", class: "small" }, "tolerance"));
}

function drawMean(svg, bar, mean, y, x, said) {
  if (bar !== null) {
    const [from, to] = bar.map(x);
    svg.append(line(from, y, to, y, "bar"), line(from, y - 8, from, y + 8, "bar"), line(to, y - 8, to, y + 8, "bar"));
  }
  const group = shape("g", { class: `w-${said.split(" ")[0]}` });
  group.append(shape("path", { d: "M0-12L12 0L0 12L-12 0Z", class: "mean", transform: `translate(${x(mean)} ${y})` }));
  svg.append(group);
}

// --- the sound -----------------------------------------------------------------------------------

const PICTURE = 150;

function drawPortrait() {
  const record = now.portrait;
  const empty = record === null || record.low === undefined;
  $("wave-f").hidden = $("spectrum-f").hidden = empty;
  $("portrait-title").textContent = empty ? "No pluck yet." : record.title;
  if (empty) return;
  $("part").textContent = record.part_words;
  const tones = record.steady.map((tone) => tone.words).join(", ");
  $("steady").textContent = record.steady.length ? `: ${tones} Hz` : ": none";
  drawWave(record);
  drawSpectrum(record, tones);
}

function drawWave(record) {
  const box = $("wave"), width = Math.max(240, box.clientWidth);
  const svg = canvas(width, PICTURE);
  const y = (share) => PICTURE * (1 - share);
  const step = width / record.low.length;
  if (record.part !== null) {
    const [from, to] = record.part.map((share) => share * width);
    svg.append(shape("rect", { x: from, y: 0, width: to - from, height: PICTURE, class: "strip" }));
    svg.append(line(from, 0, from, PICTURE, "edge"), line(to, 0, to, PICTURE, "edge"));
  }
  const up = record.high.map((v, i) => `${i * step} ${y(v) - 0.5}`);
  const down = record.low.map((v, i) => `${i * step} ${y(v) + 0.5}`).reverse();
  svg.append(shape("polygon", { points: [...up, ...down].join(" "), class: "sound" }));
  svg.append(line(record.onset * width, 0, record.onset * width, PICTURE, "onset"));
  svg.append(shape("rect", { x: 0.5, y: 0.5, width: width - 1, height: PICTURE - 1, class: "frame" }));
  box.replaceChildren(svg);
  box.setAttribute("aria-label", `Waveform of ${record.title}; ${record.part_words}`);
}

function drawSpectrum(record, tones) {
  const box = $("spectrum"), width = Math.max(240, box.clientWidth), top = 26;
  const svg = canvas(width, top + PICTURE + 22);
  const y = (share) => top + PICTURE * (1 - share);
  const step = width / record.spectrum.length;
  for (const mark of record.hertz) {
    const anchor = mark.at < 0.03 ? "start" : mark.at > 0.97 ? "end" : "middle";
    svg.append(line(mark.at * width, top + PICTURE, mark.at * width, top + PICTURE + 5, "cut"));
    svg.append(shape("text", { x: mark.at * width, y: top + PICTURE + 19, "text-anchor": anchor, class: "small" }, mark.words));
  }
  for (const tone of record.steady) {
    svg.append(line(tone.at * width, top, tone.at * width, top + PICTURE, "steady"));
  }
  const points = record.spectrum.map((v, i) => `${(i + 0.5) * step},${y(v)}`);
  svg.append(shape("polyline", { points: points.join(" "), class: "curve" }));
  let free = -1;
  for (const partial of record.partials) {
    const at = partial.at * width;
    svg.append(shape("path", { d: `M${at - 6} ${top - 8}h12l-6 9z`, class: "partial" }));
    if (at - free > 16) {
      svg.append(shape("text", { x: at, y: top - 12, "text-anchor": "middle", class: "small" }, `${partial.number}`));
      free = at;
    }
  }
  svg.append(shape("rect", { x: 0.5, y: top, width: width - 1, height: PICTURE, class: "frame" }));
  box.replaceChildren(svg);
  const heard = record.partials.map((p) => `${p.number}: ${p.words}`).join(", ");
  box.setAttribute("aria-label", `Spectrum; partials in Hz ${heard || "none"}; set aside ${tones || "none"}`);
}

function drawLevel(level) {
  $("meter").firstElementChild.style.transform = `scaleX(${level.at})`;
  $("meter").setAttribute("aria-valuenow", level.at);
  $("meter").setAttribute("aria-valuetext", level.words || "not listening");
  $("level").textContent = level.words;
  if (level.phase !== undefined) $("phase").textContent = level.phase;
}

function drawPlucks(scene) {
  $("plucks-box").hidden = scene.plucks.length === 0;
  const held = document.activeElement && document.activeElement.dataset.pluck;
  const list = $("plucks");
  list.replaceChildren(...scene.plucks.map(pluckRow));
  if (held) {
    const same = list.querySelector(`[data-pluck="${CSS.escape(held)}"]`);
    if (same) same.focus();
  }
}

function pluckRow(pluck) {
  const name = `${pluck.name} ${pluck.number}`.trim();
  let act = null;
  if (pluck.onset_s !== null && (pluck.used || pluck.useable)) {
    act = made("button", { type: "button", "data-pluck": `${pluck.belt}/${pluck.onset_s}` },
      pluck.used ? "Leave out" : "Use", made("span", { class: "unseen" }, ` pluck ${name}`));
    act.addEventListener("click", () => byHand(pluck));
  }
  const told = [pluck.tone, pluck.force, pluck.at === "" ? "" : `at ${pluck.at}`];
  if (!pluck.used) told.push(`not used: ${pluck.reason}`);
  return made("li", { class: pluck.used ? "in" : "out" },
    made("p", {}, made("b", {}, name), ...told.filter((w) => w !== "").map((w) => made("span", {}, w))),
    act);
}

function byHand(pluck) {
  ask("pluck", { belt: pluck.belt, onset_s: pluck.onset_s, use: !pluck.used });
}

// --- what can be done ----------------------------------------------------------------------------

function drawActs(scene) {
  $("listen").firstElementChild.textContent = scene.running ? "Stop" : "Listen";
  $("next").hidden = !scene.running;
  $("turned").hidden = !scene.running || answerOf("t") !== undefined;
  if (changed("question", scene.question)) drawAnswers(scene.question);
  const last = lastPluck(scene);
  $("drop-last").hidden = last === null;
  if (last !== null) {
    $("drop-last").firstElementChild.textContent = last.used ? "Leave out the last pluck" : "Use the last pluck";
  }
}

function drawAnswers(question) {
  const box = $("answers");
  box.hidden = question === null;
  box.replaceChildren(...(question === null ? [] : question.answers.map((answer) => {
    const button = made("button", { type: "button", class: "first" },
      made("span", {}, answer.words), " ", made("kbd", {}, answer.key.toUpperCase()));
    button.addEventListener("click", () => ask("answer", { task: answer.task }));
    return button;
  })));
}

function answerOf(key) {
  const question = now.scene && now.scene.question;
  return question ? question.answers.find((answer) => answer.key === key) : undefined;
}

function lastPluck(scene) {
  const timed = scene.plucks.filter((p) => p.onset_s !== null && (p.used || p.useable));
  if (timed.length === 0) return null;
  return timed.reduce((a, b) => (b.onset_s > a.onset_s ? b : a));
}

function drawBook(scene) {
  const numbers = Object.values(scene.kept);
  $("keep-it").disabled = !scene.keepable;
  $("kept").textContent = numbers.length === 0 ? "" : `Kept as ${numbers.join(" and ")} in the book.`;
  if (!changed("trends", scene.belts.map((belt) => [belt.name, belt.book]))) return;
  $("trends").replaceChildren(...scene.belts.filter((belt) => belt.book !== "").map((belt, i) => {
    const label = scene.belts.length > 1 ? `Trend of ${belt.name}` : "View the trend";
    const button = made("button", { type: "button" }, made("span", {}, label),
      i === 0 ? made("kbd", {}, "V") : null);
    button.addEventListener("click", () => viewTrend(belt.book));
    return button;
  }));
}

let asked = Promise.resolve();  // the last order given: a recording is read as chosen before it

async function ask(task, wish = {}) {
  asked = send(`/do/${task}`, {
    headers: { "content-type": "application/json" }, body: JSON.stringify(wish),
  });
  return asked;
}

async function send(path, what) {
  trouble("");
  try {
    const answer = await fetch(path, { method: "POST", ...what });
    const record = await answer.json();
    if (answer.ok) return record;
    trouble(record.error);
  } catch {
    trouble("the server does not answer");
  }
  return null;
}

function trouble(words) {
  $("trouble").textContent = words;
  $("trouble").hidden = words === "";
}

async function sendFiles(dropped) {
  const files = [...dropped];  // the browser empties what was dropped
  await asked;
  const most = now.shop === null ? 0 : now.shop.largest_bytes;
  const places = now.scene === null ? 1 : now.scene.places;
  const all = places > 1 && files.length >= places;  // else each goes where one is missing
  for (const [i, file] of files.slice(0, places).entries()) {
    if (most && file.size > most) {
      trouble(now.shop.too_large);
      return;
    }
    const place = all ? `&place=${i}` : "";
    const name = encodeURIComponent(file.name);
    await send(`/recording?name=${name}${place}`, { body: file, headers: { "content-type": "application/octet-stream" } });
  }
}

async function fetched(path) {
  trouble("");
  const answer = await fetch(path);
  const record = await answer.json();
  if (answer.ok) return record;
  trouble(record.error);
  return null;
}

function drawTerms(list, words) {
  list.replaceChildren(...words.flatMap(([label, said]) => [made("dt", {}, label), made("dd", {}, said)]));
}

async function viewTrend(name) {
  const record = await fetched(`/trend?belt=${encodeURIComponent(name)}`);
  if (record === null) return;
  $("trend").hidden = false;
  $("trend-h").textContent = `Trend of ${record.belt}`;
  $("trend-picture").alt = record.alt;
  $("trend-picture").src = `/trend.svg?belt=${encodeURIComponent(name)}&at=${Date.now()}`;
  drawTerms($("trend-words"), record.words);
  $("entries").replaceChildren(...record.entries.map((entry) => {
    const words = [`${entry.id}: ${entry.taken}`, entry.force, entry.verdict, entry.note];
    return made("li", {}, words.filter((w) => w !== "").join(", "));
  }));
}

async function viewStudy(name) {
  const record = await fetched(`/study?of=${encodeURIComponent(name)}`);
  if (record === null) return;
  $("study").hidden = false;
  $("study-h").textContent = `Trials of ${record.name}`;
  drawTerms($("study-words"), record.words);
  const source = (index) => `/study.svg?of=${encodeURIComponent(name)}&index=${index}&at=${Date.now()}`;
  $("study-pictures").replaceChildren(...record.pictures.map((alt, i) => made("img", { src: source(i), alt })));
}

async function downloadReport() {
  trouble("");
  const answer = await fetch("/report");
  if (!answer.ok) {
    trouble((await answer.json()).error);
    return;
  }
  const link = made("a", { href: URL.createObjectURL(await answer.blob()), download: "report.html" });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
}

// --- the form ------------------------------------------------------------------------------------

function drawShop(shop) {
  now.shop = shop;
  $("where").textContent = shop.machine === null ? "" : shop.machine;
  if (shop.demo) $("where").textContent = `${shop.machine}: simulated plucks`;
  $("catalogue").replaceChildren(...shop.catalogue.map((name) => made("option", { value: name })));
  $("studies").replaceChildren(...shop.studies.map((name) => {
    const button = made("button", { type: "button" }, `Trials of ${name}`);
    button.addEventListener("click", () => viewStudy(name));
    return button;
  }));
  $("by-name").hidden = shop.belts.length === 0;
  const option = (one, what) => made("option", { value: one.name }, `${one.name} (${what}${one.words})`);
  $("name").append(...shop.pairs.map((p) => option(p, "pair: ")), ...shop.belts.map((b) => option(b, "")));
  if (now.scene !== null) drawWish(now.scene.wish);
}

function drawWish(wish) {
  const first = now.drawn.wish === undefined;
  if (now.shop === null || !changed("wish", wish)) return;
  if (first && now.touched) return;  // chosen before the first picture came: it stays
  for (const field of $("form").elements) {
    if (field.name === "") continue;
    if (field.type === "checkbox") field.checked = Boolean(wish[field.name]);
    else field.value = wish[field.name] || USUAL[field.name] || "";
  }
  nameOrTyped();
  fieldsOfTheWay();
}

const USUAL = { ends: "pulley", way: "one" };

function fieldsOfTheWay() {
  for (const field of document.querySelectorAll("[data-way]")) {
    field.hidden = field.dataset.way !== $("way").value;
    for (const input of field.querySelectorAll("input")) input.disabled = field.hidden;
  }
}

function nameOrTyped() {
  $("typed").disabled = $("typed").hidden = $("name").value !== "";
}

function wished() {
  const wish = {};
  for (const [key, value] of new FormData($("form"))) if (value !== "") wish[key] = value;
  return wish;
}

// --- keys ----------------------------------------------------------------------------------------

const KEYS = {
  l: () => $("listen").click(),
  n: () => $("next").hidden || $("next").click(),
  t: () => $("turned").hidden || $("turned").click(),
  d: () => $("drop-last").hidden || $("drop-last").click(),
  b: () => ($("by-name").hidden ? $("belt") : $("name")).focus(),
  o: () => $("file").click(),
  k: () => $("note").focus(),
  v: () => $("trends").firstElementChild && $("trends").firstElementChild.click(),
  r: () => $("report").click(),
};

function pressed(event) {
  if (event.ctrlKey || event.altKey || event.metaKey || !$("single-keys").checked) return;
  const field = event.target.closest("input:not([type=checkbox], [type=file]), select, textarea");
  if (event.key === "Escape" && field !== null) field.blur();
  if (field !== null) return;
  const key = event.key.toLowerCase(), answer = answerOf(key);
  const act = answer === undefined ? KEYS[key] : () => ask("answer", { task: answer.task });
  if (act === undefined) return;
  event.preventDefault();
  act();
}

// --- beginning -----------------------------------------------------------------------------------

const DRAW = {
  scene: (record) => { now.scene = record; drawScene(); },
  portrait: (record) => { now.portrait = record; drawPortrait(); },
  level: (record) => { if (now.scene !== null && now.scene.listening) drawLevel(record); },
};

function connect() {
  const socket = new WebSocket(`ws://${location.host}/live`);
  socket.addEventListener("message", (event) => {
    const { kind, record } = JSON.parse(event.data);
    DRAW[kind](record);
  });
  socket.addEventListener("close", () => {
    $("phase").textContent = "no connection to beltpitch; trying again";
    setTimeout(connect, 1000);
  });
}

function begin() {
  $("listen").addEventListener("click", () => ask(now.scene && now.scene.running ? "stop" : "listen"));
  $("next").addEventListener("click", () => ask("next"));
  $("turned").addEventListener("click", () => ask("turned"));
  $("drop-last").addEventListener("click", () => {
    const last = lastPluck(now.scene);
    if (last !== null) byHand(last);
  });
  $("to-belt").addEventListener("click", KEYS.b);
  $("to-file").addEventListener("click", KEYS.o);
  $("report").addEventListener("click", downloadReport);
  $("name").addEventListener("change", nameOrTyped);
  $("way").addEventListener("change", fieldsOfTheWay);
  fieldsOfTheWay();
  $("form").addEventListener("input", () => { now.touched = true; });
  $("form").addEventListener("submit", async (event) => {
    event.preventDefault();
    if (await ask("choose", wished()) !== null) $("listen").focus();
  });
  $("keep").addEventListener("submit", async (event) => {
    event.preventDefault();
    if ($("keep-it").disabled) return;
    if (await ask("keep", { note: $("note").value }) !== null) $("note").value = "";
  });
  $("file").addEventListener("change", async () => {
    await sendFiles($("file").files);
    $("file").value = "";
  });
  document.addEventListener("keydown", pressed);
  for (const kind of ["dragenter", "dragover"]) {
    document.addEventListener(kind, (event) => { event.preventDefault(); document.body.classList.add("dropping"); });
  }
  document.addEventListener("dragleave", (event) => { if (event.relatedTarget === null) document.body.classList.remove("dropping"); });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    document.body.classList.remove("dropping");
    sendFiles(event.dataTransfer.files);
  });
  let wide = window.innerWidth;
  window.addEventListener("resize", () => {
    if (window.innerWidth === wide) return;
    wide = window.innerWidth;
    now.drawn.ruler = null;
    drawScene();
    drawPortrait();
  });
  fetch("/shop").then((answer) => answer.json()).then(drawShop);
  connect();
}

begin();
