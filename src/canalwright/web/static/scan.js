// The viewer of one scan: three linked planes, the canals on them, what is asked of the server and what it answers.

import { Lut, Pane } from "./slices.js";
import { Tools } from "./scantools.js";
import { Straight } from "./reformat.js";

const $ = (id) => document.getElementById(id);
const POLL = 400, SLAB = 0.6; // mm beside a slice within which a canal is drawn strong
const COLOURS = ["#4fc3bd", "#f2a65a", "#b79cf0"], DASHES = [[], [7, 4], [2, 4]];
const CANALS = ["#7fe0d6", "#ffb38a", "#c8b3fb", "#ffe08a", "#9cc2ff", "#f59ac0"];

class Viewer {
  constructor(root) {
    this.root = root; this.base = `/scan/${root.dataset.key}`; this.words = JSON.parse(root.dataset.words);
    this.layers = []; this.times = []; this.canals = []; this.chosen = 0; this.revision = -1; this.colours = COLOURS; this.dashes = DASHES; this.told = {};
  }

  async open() {
    const state = await this.until();
    if (!state) return;
    const { planes } = this;
    this.cross = planes.shape.map((n) => Math.floor(n / 2));
    this.lut = new Lut(planes.tones);
    [this.dark, this.bright] = planes.window;
    this.panes = [...document.querySelectorAll(".sv-pane[data-plane]")].map((figure) => new Pane(figure, this));
    this.layers.push((context, pane) => this.drawCanals(context, pane));
    this.tools = new Tools(this);
    this.straight = new Straight(this);
    this.controls();
    this.window(0, 0);
    this.tools.choose("look");
    const size = planes.spacing.map((v) => v.toFixed(3).replace(/0+$/, "").replace(/\.$/, ""));
    const ready = this.fill(this.words.ready, { a: planes.shape[0], b: planes.shape[1], c: planes.shape[2], size: [...new Set(size)].join(" × ") });
    this.state([ready, planes.tilt > 2 ? this.fill(this.words.tilt, { degrees: planes.tilt }) : "", ...planes.warnings].filter(Boolean).join("; "), "whole");
    document.documentElement.dataset.scan = "ready";
    await this.load();
    if (state.work && ["running", "waiting"].includes(state.work.state)) this.follow();
  }

  // The state once the scan is read; tells how far it is until then.
  async until() {
    for (;;) {
      const told = await this.ask("state.json");
      if (!told) return null;
      if (told.phase === "ready") { this.planes = told.planes; return told; }
      if (told.phase === "failed") { this.state(this.words.cancelled, "refused"); this.problem([told.reading?.error || this.words.cancelled]); return null; }
      this.state(`${told.reading?.told || this.words.reading} ${told.reading?.share ? `${Math.round(100 * told.reading.share)} %` : ""}`, "refining");
      await new Promise((good) => setTimeout(good, POLL));
    }
  }

  async ask(path, content) {
    const options = content === undefined ? {} : { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(content) };
    try {
      const answer = await fetch(`${this.base}/${path}`, options), told = await answer.json();
      this.lost = false;
      if (answer.ok) { this.problem([]); return told; }
      this.problem(told.problems ?? [this.words.gone]);
    } catch { this.lost = true; this.problem([this.words.gone]); }
    return null;
  }

  fill(text, values) { return text.replace(/\{(\w+)\}/g, (_, name) => values[name]); }
  state(text, kind) { const line = this.root.querySelector(".sv-state"); line.className = `state ${kind} sv-state`; line.querySelector("span").textContent = text; }
  hint(text) { $("sv-hint").textContent = text; }
  say(text) { $("told").textContent = text; }
  problem(problems) {
    const box = $("sv-problem"), make = (tag, values) => Object.assign(document.createElement(tag), values), told = make("div", {}), close = make("button", { type: "button", className: "button small", textContent: this.words.close });
    box.hidden = !problems.length;
    told.append(...problems.map((p) => make("p", { textContent: p })));
    close.addEventListener("click", () => this.problem([]));
    box.replaceChildren(...(problems.length ? [told, close] : []));
  }

  // Index (a, b, c) to LPS mm and back.
  toPatient([a, b, c]) { return this.planes.affine.slice(0, 3).map((row) => row[0] * a + row[1] * b + row[2] * c + row[3]); }
  toIndex([x, y, z]) { return this.planes.inverse.slice(0, 3).map((row) => row[0] * x + row[1] * y + row[2] * z + row[3]); }

  get canal() { return this.canals[this.chosen] ?? null; }

  // The cross-hair goes to an index; all planes follow, and the canal's cursor when it is near.
  point(index, from) {
    this.cross = index.map((v, k) => Math.min(Math.max(v, 0), this.planes.shape[k] - 1));
    this.draw();
    if (from) this.straight.follow(this.toPatient(this.cross));
  }

  draw() {
    if (this.drawing) return;
    this.drawing = true;
    requestAnimationFrame(() => {
      this.drawing = false;
      for (const pane of this.panes) pane.draw();
      this.here();
    });
  }

  here() {
    const [x, y, z] = this.toPatient(this.cross), [a, b, c] = this.cross.map(Math.round), axial = this.panes[0].stack, stored = axial.at(c)?.[b * axial.wide + a];
    $("sv-here").textContent = this.fill(this.words.here, { x: x.toFixed(1), y: y.toFixed(1), z: z.toFixed(1), grey: stored === undefined ? "…" : Math.round(this.lut.grey(stored)) });
  }

  window(dx, dy) {
    const [least, most] = this.planes.tones, whole = most - least;
    let level = (this.dark + this.bright) / 2 + (dy * whole) / 800, wide = (this.bright - this.dark) * Math.exp(dx / 200);
    wide = Math.min(Math.max(wide, whole / 500), 1.5 * whole); level = Math.min(Math.max(level, least), most);
    this.dark = level - wide / 2; this.bright = level + wide / 2;
    this.windowed();
  }

  windowed() {
    this.lut.set(this.dark, this.bright);
    const level = (this.dark + this.bright) / 2, wide = this.bright - this.dark;
    for (const [id, value] of [["sv-bright", level], ["sv-wide", wide]]) { $(id).value = value; $(`o-${id}`).textContent = Math.round(value); }
    this.draw(); this.straight.paint();
  }

  controls() {
    const [least, most] = this.planes.tones, whole = most - least, step = whole / 500;
    Object.assign($("sv-bright"), { min: least, max: most, step }); Object.assign($("sv-wide"), { min: whole / 500, max: 1.5 * whole, step });
    const set = () => { const level = Number($("sv-bright").value), wide = Number($("sv-wide").value); this.dark = level - wide / 2; this.bright = level + wide / 2; this.windowed(); };
    for (const id of ["sv-bright", "sv-wide"]) $(id).addEventListener("input", set);
    for (const button of document.querySelectorAll("[data-tool]")) button.addEventListener("click", () => this.tools.choose(button.dataset.tool));
    const acts = { undo: () => this.step("undo"), redo: () => this.step("redo"), fit: () => this.panes.forEach((p) => p.fit()), clear: () => { this.tools.measures = []; this.measured([]); this.draw(); } };
    for (const button of document.querySelectorAll("[data-act]")) button.addEventListener("click", acts[button.dataset.act]);
    document.addEventListener("keydown", (event) => {
      if (!(event.ctrlKey || event.metaKey) || event.target.matches?.("input[type=text]")) return;
      const way = event.key === "y" || (event.key.toLowerCase() === "z" && event.shiftKey) ? "redo" : event.key === "z" ? "undo" : "";
      if (way) { event.preventDefault(); this.step(way); }
    });
    const author = $("sv-author");
    try { if (!author.readOnly) author.value = localStorage.getItem("cw_author") ?? ""; } catch { /* a browser that keeps nothing */ }
    author.addEventListener("change", () => { try { localStorage.setItem("cw_author", author.value); } catch { /* as above */ } });
    const radius = $("sv-radius"), told = () => { $("o-sv-radius").textContent = `${Number(radius.value).toFixed(1)} mm`; };
    radius.value = 0.6; radius.addEventListener("input", told); told();
    $("sv-canals").addEventListener("click", (event) => {
      const button = event.target.closest("button");
      if (button?.dataset.choose) this.pick(Number(button.dataset.choose));
      else if (button?.dataset.portal) { const canal = this.canals[button.dataset.of]; this.correct({ kind: "remove portal", canal: canal.name, points: [canal.portals[button.dataset.portal].points[0]] }); }
      else if (button?.dataset.remove) this.correct({ kind: "remove canal", canal: this.canals[button.dataset.remove].name, points: [] });
    });
    $("sv-take").addEventListener("submit", (event) => { event.preventDefault(); this.accept(); });
    const tabs = [...document.querySelectorAll("[data-view]")];
    for (const tab of tabs) {
      tab.addEventListener("click", () => this.beside(tab.dataset.view));
      tab.addEventListener("keydown", (event) => { if (["ArrowLeft", "ArrowRight"].includes(event.key)) { const other = tabs.find((t) => t !== tab); other.focus(); other.click(); } });
    }
    this.beside("straight");
  }

  async beside(view) {
    for (const tab of document.querySelectorAll("[data-view]")) { const on = tab.dataset.view === view; tab.setAttribute("aria-selected", String(on)); tab.tabIndex = on ? 0 : -1; $(`sv-${tab.dataset.view}`).hidden = !on; }
    if (view === "solid") {
      const { scanSolid } = await import("./scansolid.js");
      this.solid = await scanSolid(this, $("sv-solid"));
    } else { this.solid?.stop(); this.straight.draw(); }
  }

  async load() {
    const told = await this.ask("canals.json");
    if (!told || told.revision === this.revision) return;
    this.revision = told.revision; this.canals = told.canals; this.log = told.log; this.reference = told.reference; this.surface = told.surface;
    this.chosen = Math.min(this.chosen, Math.max(this.canals.length - 1, 0));
    document.querySelector("[data-act=undo]").disabled = !told.undo; document.querySelector("[data-act=redo]").disabled = !told.redo;
    this.list(); this.draw();
    await this.straight.load();
    if (!$("sv-solid").hidden) await this.beside("solid");
  }

  list() {
    const { words } = this, make = (tag, values, ...children) => { const e = Object.assign(document.createElement(tag), values); e.append(...children); return e; };
    $("sv-canals").replaceChildren(...(this.canals.length ? this.canals.map((canal, i) => {
      const [length, low, high] = canal.length.map((v) => v.toFixed(1)), name = make("b", { textContent: this.fill(words.canal, { name: canal.name, length, low, high }) });
      const choose = make("button", { type: "button", className: "sv-canal" }, make("i", { className: "sv-swatch", style: `background:${CANALS[i % CANALS.length]}` }), name);
      choose.dataset.choose = i; choose.setAttribute("aria-pressed", String(i === this.chosen));
      const remove = make("button", { type: "button", className: "button small", textContent: words.remove, ariaLabel: `${words.remove}: ${canal.name}` });
      remove.dataset.remove = i;
      const notes = [this.fill(words.quality, { score: canal.quality.toFixed(2) }), canal.joined ? this.fill(words.joins, { name: canal.joined }) : "", ...canal.doubts].filter(Boolean);
      const portals = canal.portals.map((portal, k) => {
        const [wide, a, b] = portal.diameter.map((v) => v.toFixed(2)), out = make("button", { type: "button", className: "button small", textContent: words.remove, ariaLabel: `${words.remove}: ${portal.words} ${portal.z.toFixed(1)} mm` });
        out.dataset.portal = k; out.dataset.of = i;
        return make("li", { className: "sv-portal" }, this.fill(words.portal, { kind: portal.words, mm: portal.z.toFixed(1), wide, low: a, high: b }), out);
      });
      return make("div", { className: "sv-row" }, choose, remove, make("ul", { className: "rests" }, ...notes.map((n) => make("li", { textContent: n })), ...portals));
    }) : [make("p", { className: "quiet", textContent: words.none })]));
    $("sv-log").replaceChildren(...this.log.map((entry) => make("li", { className: entry.holds ? "" : "undone", textContent: `${entry.what} (${entry.canal || "–"}), ${entry.author}: ${entry.reason}${entry.holds ? "" : `, ${words.taken}`}` })));
    const names = new Map([...document.querySelectorAll("#sv-names input")].map((input) => [input.dataset.canal, input.value]));
    $("sv-names").replaceChildren(...this.canals.map((canal, i) => {
      const input = make("input", { type: "text", id: `sv-name-${i}`, value: names.get(canal.name) ?? canal.name, maxLength: 40, autocomplete: "off" });
      input.dataset.canal = canal.name;
      return make("div", { className: "field" }, make("label", { htmlFor: `sv-name-${i}`, textContent: this.fill(words.called, { name: canal.name }) }), input);
    }));
    $("sv-length").textContent = this.canals.length ? (this.reference ? words.known : words.unknown) : "";
    $("sv-accept").disabled = !this.canals.length;
  }

  pick(i) { this.chosen = i; this.list(); this.draw(); this.straight.load(); }
  freeName() { for (let n = 1; ; n++) if (!this.canals.some((c) => c.name === `canal ${n}`)) return `canal ${n}`; }

  async find(place) {
    const holds = (this.log ?? []).filter((entry) => entry.holds).length;
    if (holds && !window.confirm(this.fill(this.words.anew, { n: holds }))) return;
    if (await this.ask("find", { point: place })) this.follow();
  }
  async refer(place) { if (await this.ask("reference", { point: place })) this.load(); }
  async step(way) { if (await this.ask(way, {})) this.load(); }
  async correct(said) {
    const author = $("sv-author").value.trim(), reason = $("sv-reason").value.trim();
    if (await this.ask("correct", { canal: this.canal?.name ?? "", author, reason, ...said })) this.follow(); else this.draw();
  }

  // What is being found or measured, until it is over.
  async follow() {
    const box = $("sv-work"), { words } = this;
    if (!box.firstChild) {
      const cancel = Object.assign(document.createElement("button"), { type: "button", className: "button small", textContent: words.cancel });
      cancel.addEventListener("click", () => this.ask("cancel", {}));
      box.append(document.createElement("p"), document.createElement("progress"), cancel);
    }
    box.hidden = false;
    if (this.following) return;
    this.following = true;
    for (;;) {
      const told = await this.ask("state.json"), work = told?.work;
      if (this.lost) { await new Promise((good) => setTimeout(good, 4 * POLL)); continue; } // what was begun may still go on
      if (!work || !["running", "waiting"].includes(work.state)) {
        box.hidden = true; this.following = false;
        if (work?.state === "cancelled") this.say(words.cancelled);
        await this.load();
        if (work?.state === "failed") this.problem([work.error]);
        if (work?.state === "done" && this.canal) { this.say($("sv-canals").textContent); this.toOrifice(); }
        this.draw();
        return;
      }
      const text = this.fill(words.seconds, { told: work.told || words.opening, seconds: Math.round(work.seconds) }), bar = box.querySelector("progress");
      box.querySelector("p").textContent = text; bar.ariaLabel = text;
      if (work.share === null) bar.removeAttribute("value"); else bar.value = work.share;
      await new Promise((good) => setTimeout(good, POLL));
    }
  }

  // After a canal was measured its middle is what one wants to see, unless the cross-hair is on it.
  toOrifice() {
    const at = this.toPatient(this.cross), near = Math.min(...this.canal.centre.map((p) => Math.hypot(...p.map((v, k) => v - at[k]))));
    if (near > 3) this.point(this.toIndex(this.canal.centre[Math.floor(this.canal.centre.length / 2)]), this);
  }

  async accept() {
    const told = await this.ask("accept", { tooth: $("sv-tooth").value, label: $("sv-label").value, size: $("sv-size").value, taper: $("sv-taper").value.replace(",", "."),
      names: [...document.querySelectorAll("#sv-names input")].map((input) => input.value) });
    if (told?.go) location.assign(told.go);
  }

  measure({ kind, points }) {
    const from = (a, b) => a.map((v, k) => b[k] - v), long = (v) => Math.hypot(...v);
    if (kind === "length") return `${long(from(...points)).toFixed(2)} mm`;
    const one = from(points[1], points[0]), two = from(points[1], points[2]), dot = one.reduce((sum, v, k) => sum + v * two[k], 0);
    return `${((Math.acos(Math.min(Math.max(dot / (long(one) * long(two) || 1), -1), 1)) * 180) / Math.PI).toFixed(1)}°`;
  }

  measured(measures) {
    $("sv-measured").hidden = !measures.length;
    document.querySelector("[data-act=clear]").disabled = !measures.length;
    $("sv-measures").replaceChildren(...measures.map((m) => Object.assign(document.createElement("li"), { textContent: `${this.measure(m)}, ${this.panes.find((p) => p.plane === m.plane).canvas.ariaLabel} ${m.number + 1}` })));
    if (measures.length) this.say(this.measure(measures.at(-1)));
  }

  // Every canal faint, strong where it runs in this slice; its cursor; the reference point.
  drawCanals(context, pane) {
    const { n } = pane.laid, slab = SLAB / this.planes.spacing[n];
    this.canals.forEach((canal, i) => {
      const colour = CANALS[i % CANALS.length], points = canal.centre.map((p) => this.toIndex(p)), screen = points.map((p) => pane.toScreen(p));
      const stroke = (wide, alpha, keep) => {
        context.lineWidth = wide; context.globalAlpha = alpha; context.beginPath();
        screen.forEach((p, k) => (k && keep(k) && keep(k - 1) ? context.lineTo(...p) : context.moveTo(...p)));
        context.stroke(); context.globalAlpha = 1;
      };
      context.setLineDash([]); context.strokeStyle = colour;
      stroke(i === this.chosen ? 1.75 : 1.25, 0.55, () => true);
      stroke(i === this.chosen ? 3 : 2, 1, (k) => Math.abs(points[k][n] - pane.number) < slab);
      for (const portal of canal.portals) {
        const way = portal.points.map((p) => pane.toScreen(this.toIndex(p)));
        context.lineWidth = 1.5; context.setLineDash([3, 2]); context.beginPath(); way.forEach((p, k) => (k ? context.lineTo(...p) : context.moveTo(...p))); context.stroke(); context.setLineDash([]);
      }
    });
    if (this.reference) {
      const [x, y] = pane.toScreen(this.toIndex(this.reference));
      context.strokeStyle = "#ffffff"; context.lineWidth = 2; context.beginPath(); context.moveTo(x - 9, y); context.lineTo(x + 9, y); context.moveTo(x, y); context.lineTo(x, y + 10); context.stroke();
    }
  }
}

function begin() {
  const found = document.getElementById("sv");
  if (!found) return setTimeout(begin, 60);
  const viewer = new Viewer(found);
  window.canalwright = Object.assign(window.canalwright ?? {}, { scan: viewer });
  viewer.open();
}
begin();
