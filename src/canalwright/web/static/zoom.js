// The section, nearer: wheel with Ctrl, two fingers, drag and buttons; a ruler that stays at the edge, a cursor with every value there.

import { figure } from "./figure.js";
import { make } from "./stage.js";

const MOST = 12, $ = (id) => document.getElementById(id);
let zoom = 1, middle = null, depth = null, table = null, svg = null, whole = null, panels = 0;

const host = () => document.querySelector(".picture");
const own = () => !$("depth"); // the player has a cursor of its own

function place(drawing) { const { scale, x, y, way, top } = drawing.dataset; return { scale: +scale, x: +x, y0: +y, way: +way, top: +top, y: (d) => +y + +way * +scale * d, depth: (v) => (v - +y) / (+way * +scale) }; }

// Another drawing came: it is laid as the last one was.
function lay() {
  const found = host()?.querySelector("svg.cw-section[data-scale]");
  if (!found || (found === svg && panels === found.querySelectorAll(".profile").length)) return;
  svg = found; panels = found.querySelectorAll(".profile").length; // the player widens its drawing for them
  const box = svg.viewBox.baseVal;
  whole = [box.x, box.y, box.width, box.height];
  svg.style.touchAction = "pan-x pan-y"; svg.style.cursor = own() ? "crosshair" : "";
  middle ??= [whole[0] + whole[2] / 2, whole[1] + whole[3] / 2];
  show();
}

function show() {
  if (!svg?.isConnected) return;
  const room = svg.getBoundingClientRect(), h = whole[3] / zoom, w = zoom > 1.05 ? Math.max(whole[2] / zoom, (h * room.width) / (room.height || 1)) : whole[2];
  const within = (m, from, wide, part) => (part >= wide ? from + wide / 2 : Math.min(Math.max(m, from + part / 2), from + wide - part / 2));
  middle = [within(middle[0], whole[0], whole[2], w), within(middle[1], whole[1], whole[3], h)];
  svg.setAttribute("viewBox", `${middle[0] - w / 2} ${middle[1] - h / 2} ${w} ${h}`);
  svg.querySelector(".cw-near")?.remove();
  const layer = make("g", { class: "cw-near" }), one = 1 / pixels();
  if (zoom > 1.05) ruler(layer, one);
  if (own() && depth !== null) cursor(layer, one);
  svg.append(layer);
}

const pixels = () => svg.getScreenCTM()?.a || 1; // CSS px for a unit of the drawing

// At the left edge of what is seen, in sizes of the screen, not of the drawing.
function ruler(layer, one) {
  const at = place(svg), box = svg.viewBox.baseVal, wide = 52 * one, mm = at.scale / one, step = [0.1, 0.2, 0.5, 1, 2, 5].find((s) => s * mm > 9) ?? 5, label = [0.1, 0.2, 0.5, 1, 2, 5, 10].find((s) => s * mm > 30) ?? 10;
  layer.append(make("rect", { x: box.x, y: box.y, width: wide, height: box.height, fill: "var(--sheet)", opacity: 0.94 }), make("path", { d: `M${box.x + wide} ${box.y}v${box.height}`, stroke: "var(--strong-line)", "stroke-width": one }));
  const ends = [at.depth(box.y), at.depth(box.y + box.height)].sort((a, b) => a - b);
  for (let k = Math.ceil(Math.max(ends[0], 0) / step); k * step <= ends[1]; k++) {
    const d = k * step, y = at.y(d), big = Math.abs(d / label - Math.round(d / label)) < 1e-6;
    layer.append(make("path", { d: `M${box.x + wide} ${y}h${-(big ? 11 : 6) * one}`, stroke: "var(--ink)", "stroke-width": one }));
    if (big) layer.append(make("text", { x: box.x + wide - 15 * one, y: y + 4.5 * one, "font-size": 13 * one, "text-anchor": "end", fill: "var(--ink)" }, d.toFixed(label < 1 ? 1 : 0)));
  }
}

function cursor(layer, one) {
  const at = place(svg), box = svg.viewBox.baseVal, y = at.y(depth), text = `${depth.toFixed(1)} mm`;
  let from = box.x + (zoom > 1.05 ? 52 * one : 0), to = box.x + box.width;
  for (const b of [...svg.querySelectorAll("text")].map((t) => t.getBBox())) { // it ends before a label at its height
    if (!b.width || y < b.y - 2 * one || y > b.y + b.height + 2 * one) continue;
    if (b.x > at.x) to = Math.min(to, b.x - 8 * one); else if (b.x + b.width < at.x) from = Math.max(from, b.x + b.width + 4 * one);
  }
  layer.append(make("path", { d: `M${from} ${y}H${to}`, stroke: "var(--accent)", "stroke-width": 1.5 * one, "stroke-dasharray": `${5 * one} ${4 * one}` }));
  layer.append(make("rect", { x: box.x + (zoom > 1.05 ? 55 : 38) * one, y: y - 21 * one, width: 64 * one, height: 19 * one, rx: 4 * one, fill: "var(--sheet)", opacity: 0.92 }), make("text", { x: box.x + (zoom > 1.05 ? 58 : 41) * one, y: y - 7 * one, "font-size": 14 * one, "font-weight": 650, fill: "var(--accent)" }, text));
}

function nearer(factor, point = null) {
  const before = zoom, at = point ?? middle;
  zoom = Math.min(Math.max(zoom * factor, 1), MOST);
  middle = middle.map((m, k) => at[k] + (m - at[k]) * (before / zoom));
  show();
}

function point(event) { const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse()); return [p.x, p.y]; }

function go(to) {
  if (!table) return;
  const low = Math.min(...table.depth), high = Math.max(...table.depth);
  depth = Math.min(Math.max(Math.round(to * 10) / 10, low), high);
  const slider = $("zoom-depth"), words = JSON.parse(document.querySelector(".zoom").dataset.words);
  if (document.activeElement !== slider) slider.value = depth;
  $("o-zoom-depth").textContent = `${depth.toFixed(1)} mm`; slider.setAttribute("aria-valuetext", `${depth.toFixed(1)} mm`);
  let at = 0;
  table.depth.forEach((d, i) => { if (Math.abs(d - depth) < Math.abs(table.depth[at] - depth)) at = i; });
  const shown = Object.entries(words).map(([name, about]) => {
    const rows = table[name], source = table.sources?.[name], pair = document.createElement("div"), says = document.createElement("dd");
    says.append(name === "short" ? figure(about, `${rows[at].toFixed(1)} mm`.replace("-", "−"), "", source)
      : figure(about, `${rows[0][at].toFixed(2)} mm`, `(${rows[1][at].toFixed(2)}–${rows[2][at].toFixed(2)})`, source));
    pair.append(Object.assign(document.createElement("dt"), { textContent: about.title }), says);
    return pair;
  });
  $("zoom-values").replaceChildren(...shown);
  show();
}

// The stations of the canal that is drawn: pushed by the form, or fetched for a case.
function stations(told) {
  table = told;
  const slider = $("zoom-depth");
  if (!slider) return;
  if (!table) { slider.disabled = true; $("o-zoom-depth").textContent = "–"; $("zoom-values").replaceChildren(); return; }
  Object.assign(slider, { min: Math.min(...table.depth).toFixed(1), max: Math.max(...table.depth).toFixed(1), disabled: false });
  go(depth ?? table.depth[Math.floor(table.depth.length / 3)]);
}

let held = null;
const fingers = new Map();
document.addEventListener("pointerdown", (event) => {
  if (!svg?.contains(event.target)) return;
  fingers.set(event.pointerId, point(event)); held = { at: point(event), x: event.clientX, y: event.clientY, moved: false };
  if (own() && !event.shiftKey && event.button === 0 && event.pointerType === "mouse" && zoom < 1.05) go(place(svg).depth(point(event)[1]));
});
document.addEventListener("pointermove", (event) => {
  if (!held || !fingers.has(event.pointerId) || !svg?.isConnected) return;
  const now = point(event);
  if (fingers.size === 2) {
    const [other] = [...fingers].filter(([id]) => id !== event.pointerId).map(([, p]) => p), far = (a) => Math.hypot(a[0] - other[0], a[1] - other[1]) || 1;
    const factor = far(now) / far(fingers.get(event.pointerId));
    nearer(factor, other); fingers.set(event.pointerId, point(event));
    return;
  }
  if (Math.hypot(event.clientX - held.x, event.clientY - held.y) > 4) held.moved = true;
  if (zoom > 1.05 && held.moved && own()) { middle = middle.map((m, k) => m + held.at[k] - now[k]); show(); held.at = point(event); } else if (own() && zoom < 1.05) go(place(svg).depth(now[1]));
});
for (const name of ["pointerup", "pointercancel"]) {
  document.addEventListener(name, (event) => {
    if (held && !held.moved && own() && svg?.contains(event.target)) go(place(svg).depth(point(event)[1]));
    fingers.delete(event.pointerId); held = null;
  });
}
document.addEventListener("wheel", (event) => {
  if (!svg?.contains(event.target) || !(event.ctrlKey || event.metaKey || zoom > 1.05)) return;
  event.preventDefault();
  if (event.ctrlKey || event.metaKey) nearer(Math.exp(-event.deltaY / 250), point(event)); else { middle = [middle[0] + event.deltaX / pixels(), middle[1] + event.deltaY / pixels()]; show(); }
}, { passive: false });
document.addEventListener("click", (event) => {
  const way = event.target.closest?.("[data-zoom]")?.dataset.zoom;
  if (!way || !svg) return;
  middle = [place(svg).x, zoom < 1.05 && own() && depth !== null ? place(svg).y(depth) : middle[1]]; // the canal, at the cursor
  if (way === "whole") { zoom = 1; show(); } else nearer(way === "in" ? 1.5 : 1 / 1.5);
});
document.addEventListener("input", (event) => { if (event.target.id === "zoom-depth") { go(Number(event.target.value)); if (zoom > 1.05) { middle[1] = place(svg).y(depth); show(); } } });
window.addEventListener("resize", show);
window.canalwright = Object.assign(window.canalwright ?? {}, { stations });

new MutationObserver(lay).observe(document.body, { childList: true, subtree: true });
lay();
const at = location.pathname.match(/^(\/case\/[^/]+\/\d+\/)(plan|measure)$/);
if (at) {
  const wait = setInterval(() => {
    if (!$("zoom-depth")) return;
    clearInterval(wait);
    fetch(`${at[1]}stations.json`).then((a) => (a.ok ? a.json() : null)).then((told) => { if (told && !table) stations(told); });
  }, 80);
}
