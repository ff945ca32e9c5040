// The radiograph tool: a film on a canvas, marks above it by mouse, finger or keyboard; every change is told to the server.
// Marks are in pixels of the whole film (x to the right, y down, 0 at the centre of the first pixel).

import { blank, films, hooks, kept, load, onItsWay, paint } from "./filmin.js";

const send = (name, value) => window.emitEvent(name, value);
const byId = (id) => document.getElementById(id);
const NEAR = 22, SLOP = 6;
const LIMIT = { known: 12, reference: 1, canal: 40, terminus: 1, end: 1, pair: 2 };
const LETTER = { known: "L", reference: "R", canal: "C", terminus: "T", end: "E", pair: "P" };
const LONG = new Set(["known", "canal"]); // lines that take marks between

let slot = 0, cross = null, chosen = null, grip = null;
const fingers = new Map();

const film = () => films[slot];
const idle = () => !film().told || onItsWay[slot];
const tool = () => document.querySelector("input[name=rg-tool]:checked").value;
const take = (kind) => { document.querySelector(`input[name=rg-tool][value=${kind}]`).checked = true; };

// ---- view

function size() { const box = byId("rg-stage").getBoundingClientRect(); return [box.width, box.height]; }

function fit() {
  const one = film(), [w, h] = size();
  if (!one.told) return;
  one.zoom = Math.min(w / one.told.columns, h / one.told.rows);
  one.x = (w - one.told.columns * one.zoom) / 2;
  one.y = (h - one.told.rows * one.zoom) / 2;
  one.fitted = [one.zoom, one.x, one.y];
}

// The whole film is shown whole again where the stage has become another size; what was zoomed or moved stays.
function resized() {
  const one = film();
  if (one.told && one.fitted && [one.zoom, one.x, one.y].every((v, i) => v === one.fitted[i])) fit();
  draw();
}

const toScreen = ([x, y]) => [film().x + (x + 0.5) * film().zoom, film().y + (y + 0.5) * film().zoom];
const toFilm = ([x, y]) => [(x - film().x) / film().zoom - 0.5, (y - film().y) / film().zoom - 0.5];
const inside = ([x, y]) => [Math.min(Math.max(x, 0), film().told.columns - 1), Math.min(Math.max(y, 0), film().told.rows - 1)];

function zoom(by, [cx, cy] = size().map((v) => v / 2)) {
  const one = film();
  if (!one.told) return;
  const least = 0.5 * Math.min(...size()) / Math.max(one.told.columns, one.told.rows), next = Math.min(Math.max(one.zoom * by, least), 40), share = next / one.zoom;
  Object.assign(one, { zoom: next, x: cx - (cx - one.x) * share, y: cy - (cy - one.y) * share });
  draw();
}

let asked = false;
function draw() { if (!asked) { asked = true; requestAnimationFrame(() => { asked = false; drawNow(); }); } }

function drawNow() {
  const canvas = byId("rg-canvas"), [w, h] = size(), fine = window.devicePixelRatio || 1, one = film();
  if (canvas.width !== Math.round(w * fine) || canvas.height !== Math.round(h * fine)) Object.assign(canvas, { width: Math.round(w * fine), height: Math.round(h * fine) });
  const pen = canvas.getContext("2d");
  pen.setTransform(fine, 0, 0, fine, 0, 0);
  pen.fillStyle = "#000";
  pen.fillRect(0, 0, w, h);
  byId("rg-empty").hidden = Boolean(one.told);
  if (one.picture) {
    pen.imageSmoothingEnabled = one.zoom * one.told.step < 3;
    pen.drawImage(one.picture, one.x, one.y, one.told.width * one.told.step * one.zoom, one.told.height * one.told.step * one.zoom);
  }
  byId("rg-marks").innerHTML = one.told ? overlay(w, h) : "";
}

function overlay(w, h) {
  const { marks, found } = film(), parts = [];
  // What was found in the film: lines that only show, below the marks.
  for (const { kind, points } of found) parts.push(`<polyline class="found ${kind}" points="${points.map((p) => toScreen(p).map((v) => v.toFixed(1)).join(",")).join(" ")}"/>`);
  const line = (points, kind) => { if (points.length > 1) parts.push(`<polyline class="${kind}" points="${points.map((p) => toScreen(p).map((v) => v.toFixed(1)).join(",")).join(" ")}"/>`); };
  line(marks.known, "known");
  line([...marks.reference, ...marks.canal, ...marks.terminus], "canal");
  line(marks.pair, "pair");
  for (const [kind, at, point] of all()) {
    const [x, y] = toScreen(point), on = chosen && chosen[0] === kind && chosen[1] === at;
    parts.push(`<g class="${kind}${on ? " chosen" : ""}" transform="translate(${x.toFixed(1)} ${y.toFixed(1)})"><circle r="${on ? 11 : 7}"/><path d="M-4 0H4M0-4V4"/><text x="10" y="-8">${LETTER[kind]}${LIMIT[kind] > 1 ? at + 1 : ""}</text></g>`);
  }
  if (cross && !chosen && document.activeElement === byId("rg-stage")) {
    const [x, y] = toScreen(cross);
    parts.push(`<path class="cross" d="M${x - 18} ${y}H${x + 18}M${x} ${y - 18}V${y + 18}"/>`);
  }
  byId("rg-marks").setAttribute("viewBox", `0 0 ${w} ${h}`);
  return parts.join("");
}

// ---- marks

const all = () => Object.keys(LIMIT).flatMap((kind) => film().marks[kind].map((point, at) => [kind, at, point]));

function keep() { film().before.push(JSON.stringify(film().marks)); if (film().before.length > 200) film().before.shift(); }

function undo() {
  const last = film().before.pop();
  if (last === undefined) return;
  film().marks = JSON.parse(last);
  chosen = null;
  byId("rg-known").value = film().marks.known_mm;
  changed();
}

function add(point) {
  const one = film(), kind = tool(), list = one.marks[kind];
  if (!one.told) return;
  keep();
  point = inside(point);
  let at = list.length;
  if (LIMIT[kind] === 1) { one.marks[kind] = [point]; at = 0; }
  else if (list.length >= LIMIT[kind]) { at = nearest(list, point); list[at] = point; }
  else if (LONG.has(kind)) { at = kind === "canal" ? between(point, one.marks.reference, list, one.marks.terminus) : list.length < 2 ? list.length : 1 + between(point, list.slice(0, 1), list.slice(1, -1), list.slice(-1)); list.splice(at, 0, point); }
  else list.push(point);
  chosen = [kind, at];
  if (kind === "known" && one.marks.known.length === 2) { take("reference"); if (!one.marks.known_mm) byId("rg-known").focus({ preventScroll: true }); }
  else if (kind === "reference") take("canal");
  changed();
}

const far = ([ax, ay], [bx, by]) => Math.hypot(ax - bx, ay - by);
const nearest = (list, point) => list.reduce((best, p, i) => (far(p, point) < far(list[best], point) ? i : best), 0);

// Where a mark of a line goes, between what stands before and after it: where the line grows least.
function between(point, reference, canal, terminus) {
  const line = [...reference, ...canal, ...terminus], skip = reference.length;
  let best = canal.length, least = Infinity;
  for (let i = 0; i <= canal.length; i++) {
    const before = line[i + skip - 1], after = line[i + skip];
    const cost = before && after ? far(before, point) + far(point, after) - far(before, after) : far(before ?? after ?? point, point);
    if (cost <= least) { least = cost; best = i; }
  }
  return best;
}

function move(dx, dy) {
  const one = film();
  if (!one.told) return;
  if (!chosen) { cross = inside([(cross ?? middle())[0] + dx, (cross ?? middle())[1] + dy]); follow(cross); return draw(); }
  const [kind, at] = chosen;
  keep();
  one.marks[kind][at] = inside([one.marks[kind][at][0] + dx, one.marks[kind][at][1] + dy]);
  follow(one.marks[kind][at]);
  changed();
}

const middle = () => inside(toFilm(size().map((v) => v / 2)).map(Math.round));

function follow(point) {
  const [x, y] = toScreen(point), [w, h] = size(), edge = 24;
  if (x < edge) film().x += edge - x; if (x > w - edge) film().x -= x - w + edge;
  if (y < edge) film().y += edge - y; if (y > h - edge) film().y -= y - h + edge;
}

function remove() {
  if (!chosen) return;
  keep();
  film().marks[chosen[0]].splice(chosen[1], 1);
  chosen = null;
  changed();
}

function step(by) {
  const list = all();
  if (!list.length) return;
  const now = chosen ? list.findIndex(([kind, at]) => kind === chosen[0] && at === chosen[1]) : -1;
  chosen = list[(now + by + list.length + (now < 0 && by < 0 ? 1 : 0)) % list.length].slice(0, 2);
  follow(film().marks[chosen[0]][chosen[1]]);
  say();
  draw();
}

// Changes of films and marks by number, and the last that what the page says answers.
const waiting = [0, 0], changes = [0, 0], answered = [0, 0];

function change(at) {
  changes[at] += 1;
  rest();
  return changes[at];
}

function rest() { byId("rg-stage").dataset.answered = String(answered[slot] === changes[slot]); }

function changed() {
  const at = slot;
  draw();
  counts();
  say();
  change(at);
  clearTimeout(waiting[at]);
  waiting[at] = setTimeout(() => tell(at), 150);
}

// Who leaves the page at once after a mark does not lose it.
addEventListener("pagehide", () => waiting.forEach((timer, at) => { if (timer) tell(at); }));

function tell(at) {
  const { marks, told } = films[at];
  clearTimeout(waiting[at]);
  waiting[at] = 0;
  if (!told) return;
  const { known, known_mm, canal, pair } = marks;
  send("cw-marks", { slot: at, change: changes[at], marks: { known, known_mm, canal, pair, reference: marks.reference[0] ?? null, terminus: marks.terminus[0] ?? null, end: marks.end[0] ?? null } });
}

function say() {
  const point = chosen ? film().marks[chosen[0]]?.[chosen[1]] : null;
  const name = chosen && document.querySelector(`[data-kind=${chosen[0]}] b`).textContent;
  byId("rg-told").textContent = point ? `${name} ${chosen[1] + 1}: x ${point[0].toFixed(0)}, y ${point[1].toFixed(0)}` : "";
}

function counts() {
  for (const kind of Object.keys(LIMIT)) {
    const count = byId(`rg-n-${kind}`); // a page shows the kinds that it needs
    if (count) count.textContent = film().marks[kind].length || "";
  }
}

function busy() {
  byId("rg-stage").setAttribute("aria-busy", String(onItsWay[slot]));
  byId("rg-coming").hidden = !onItsWay[slot];
  rest();
}

function shown() {
  const one = film();
  chosen = cross = grip = null;
  busy();
  byId("rg-away").hidden = !one.told;
  byId("rg-known").value = one.marks.known_mm ?? "";
  byId("rg-level").value = Math.round((one.low + one.high) / 2);
  byId("rg-window").value = one.high - one.low;
  byId("rg-notes").replaceChildren(...one.notes.map((n) => Object.assign(document.createElement("li"), { textContent: n })));
  counts();
  draw();
}

// ---- hands

const place = (event) => { const box = byId("rg-stage").getBoundingClientRect(); return [event.clientX - box.left, event.clientY - box.top]; };

// The mark under a hand, of the kind that is being set: marks of other kinds often lie close by.
function near(at, within = NEAR) {
  const kind = tool(), found = film().marks[kind].map((point, i) => [far(toScreen(point), at), i]).filter(([d]) => d <= within).sort((a, b) => a[0] - b[0])[0];
  return found ? [kind, found[1]] : null;
}

// A tap that did not move: chooses a mark where one can be meant, else sets a new one.
function tapped(at) {
  const kind = tool(), open = film().marks[kind].length < LIMIT[kind] && !LONG.has(kind), mark = open ? null : near(at, LONG.has(kind) ? 12 : NEAR);
  if (mark) { chosen = mark; say(); draw(); } else add(toFilm(at));
}

function down(event) {
  if (idle() || event.button > 0) return;
  const stage = byId("rg-stage"), at = place(event);
  stage.setPointerCapture(event.pointerId);
  stage.focus({ preventScroll: true });
  fingers.set(event.pointerId, at);
  if (fingers.size === 2) { grip = { pinch: far(...fingers.values()) }; return; }
  const mark = near(at);
  grip = { from: at, last: at, screen: [event.clientX, event.clientY], mark, moved: false };
}

function drag(event) {
  if (!fingers.has(event.pointerId)) return;
  const at = place(event), one = film();
  fingers.set(event.pointerId, at);
  if (grip?.pinch && fingers.size === 2) {
    const [a, b] = [...fingers.values()], now = far(a, b);
    zoom(now / grip.pinch, [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2]);
    grip.pinch = now;
    return;
  }
  if (!grip?.from) return;
  // By the screen: where the page shifts under a finger that rests, the finger has not moved, and its tap is a tap.
  if (!grip.moved && far(grip.screen, [event.clientX, event.clientY]) > SLOP) { grip.moved = true; if (grip.mark) { keep(); chosen = grip.mark; } }
  if (!grip.moved) return;
  if (grip.mark) {
    const [dx, dy] = [(at[0] - grip.last[0]) / one.zoom, (at[1] - grip.last[1]) / one.zoom], [kind, i] = grip.mark, [x, y] = one.marks[kind][i];
    one.marks[kind][i] = inside([x + dx, y + dy]);
  } else { one.x += at[0] - grip.last[0]; one.y += at[1] - grip.last[1]; }
  grip.last = at;
  draw();
}

function up(event) {
  if (!fingers.delete(event.pointerId)) return;
  if (grip?.from && event.type === "pointerup") {
    if (grip.mark && grip.moved) changed();
    else if (!grip.moved) tapped(grip.from);
  }
  if (!fingers.size) grip = null;
}

const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

function keyed(event) {
  if (idle()) return;
  const arrow = ARROWS[event.key], many = event.shiftKey ? 10 : 1;
  const does = arrow ? () => move(arrow[0] * many, arrow[1] * many) : {
    Enter: () => { if (chosen) { chosen = null; say(); draw(); } else add(cross ?? middle()); },
    " ": () => { if (chosen) { chosen = null; say(); draw(); } else add(cross ?? middle()); },
    n: () => step(1), p: () => step(-1), N: () => step(1), P: () => step(-1),
    Delete: remove, Backspace: remove, Escape: () => { chosen = null; say(); draw(); },
    "+": () => zoom(1.25), "=": () => zoom(1.25), "-": () => zoom(0.8), 0: () => { fit(); draw(); },
  }[event.key];
  if ((event.ctrlKey || event.metaKey) && event.key === "z") { event.preventDefault(); event.stopPropagation(); undo(); }
  else if (does && !event.ctrlKey && !event.metaKey && !event.altKey) { event.preventDefault(); does(); }
}

const KEYS = {
  "zoom-in": () => zoom(1.25), "zoom-out": () => zoom(0.8), "zoom-fit": () => { fit(); draw(); },
  "move-left": () => move(-1, 0), "move-right": () => move(1, 0), "move-up": () => move(0, -1), "move-down": () => move(0, 1),
  next: () => step(1), remove, undo, away,
};

function away() {
  if (idle() || !confirm(byId("rg-away").dataset.sure)) return;
  films[slot] = blank();
  if (window.cwFilms) window.cwFilms[slot] = null;
  send("cw-film-away", { slot });
  shown();
  document.querySelector("#rg-file").focus();
}

function tube() { send("cw-tube", { angle: byId("rg-angle").value, towards: byId("rg-towards").value }); }

document.addEventListener("click", (event) => {
  const key = event.target.closest?.("button");
  if (key?.dataset.rg && !idle()) KEYS[key.dataset.rg]();
  if (key?.dataset.filmUse) send("cw-film-use", { what: key.dataset.filmUse });
});
document.addEventListener("change", (event) => {
  const field = event.target;
  if (field.id === "rg-file" && field.files.length) load(field.files[0], slot).finally(() => { field.value = ""; });
  else if (field.name === "rg-slot") { slot = Number(field.value); if (film().told && film().zoom === 1) fit(); shown(); }
  else if (field.id === "rg-known") { keep(); film().marks.known_mm = field.value.trim(); changed(); }
  else if (field.id === "rg-angle" || field.id === "rg-towards") tube();
  else if (field.name === "rg-tool") { chosen = null; draw(); }
});
document.addEventListener("input", (event) => {
  if (event.target.id !== "rg-level" && event.target.id !== "rg-window") return;
  const one = film(), level = Number(byId("rg-level").value), window_ = Number(byId("rg-window").value);
  if (!one.told) return;
  Object.assign(one, { low: level - window_ / 2, high: level + window_ / 2 });
  paint(one);
  draw();
});

window.canalwright = Object.assign(window.canalwright ?? {}, {
  films() {
    films.forEach((_, at) => kept(at));
  },
  filmNotes(at, notes) { films[at].notes = notes; if (at === slot) byId("rg-notes").replaceChildren(...notes.map((n) => Object.assign(document.createElement("li"), { textContent: n }))); },
  filmAnswered(at, change) { answered[at] = change; rest(); },
  filmFound(at, found) { films[at].found = found; draw(); },
  filmWrong(kind, told) { const place = byId(`e-${kind}`); if (place && place.textContent !== told) place.textContent = told; },
});

Object.assign(hooks, {
  come(at) { if (at === slot) { fit(); shown(); } },
  wait(at) { if (at === slot) busy(); },
  taken(at, id) { send("cw-films", { slot: at, id, change: change(at) }); },
});

// The film sticks where its lower end is in sight at the latest: else what is told beside it would move it under the hand as it gets longer.
function stuck(column) {
  const below = parseFloat(getComputedStyle(byId("content")).paddingBottom);
  column.style.setProperty("--stuck", `${Math.min(16, innerHeight - below - column.offsetHeight)}px`);
}

function begin() {
  const stage = byId("rg-stage");
  if (!stage) return void requestAnimationFrame(begin); // the framework has not laid the page out yet
  for (const [name, does] of [["pointerdown", down], ["pointermove", drag], ["pointerup", up], ["pointercancel", up], ["keydown", keyed], ["focus", draw], ["blur", draw]]) stage.addEventListener(name, does);
  stage.addEventListener("wheel", (event) => { event.preventDefault(); zoom(event.deltaY < 0 ? 1.15 : 1 / 1.15, place(event)); }, { passive: false });
  new ResizeObserver(resized).observe(stage);
  const column = stage.closest(".rg-film");
  new ResizeObserver(() => stuck(column)).observe(column);
  addEventListener("resize", () => stuck(column));
  document.documentElement.dataset.film = "ready";
  window.canalwright.films();
  draw();
}
window.cwScreen = toScreen; // where a place of the film is on the stage
begin();
