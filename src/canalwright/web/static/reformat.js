// The straightened canal with its ruler, turned about its own line, and the section across it at the cursor with the measured ellipse.

import { figure } from "./figure.js";

const REACH = 6, STEP = 0.1, ACROSS = 4, ACROSS_STEP = 0.05; // as canalwright.web.scan.routes lays them
const $ = (id) => document.getElementById(id);

export class Straight {
  constructor(viewer) {
    this.viewer = viewer; this.turn = 0; this.z = 0; this.picture = document.createElement("canvas"); this.cut = document.createElement("canvas"); this.asked = 0;
    this.canvas = $("sv-line"); this.section = $("sv-across");
    new ResizeObserver(() => this.draw()).observe(this.canvas);
    $("sv-turn").addEventListener("input", () => this.setTurn(Number($("sv-turn").value)));
    $("sv-depth").addEventListener("input", () => this.go(Number($("sv-depth").value)));
    this.canvas.addEventListener("pointerdown", (event) => { this.canvas.setPointerCapture(event.pointerId); this.from = [event.clientX, this.turn]; this.pointed(event); });
    this.canvas.addEventListener("pointermove", (event) => { if (event.buttons) { if (event.shiftKey) this.setTurn(((this.from[1] + event.clientX - this.from[0]) % 180 + 180) % 180); else this.pointed(event); } });
    this.canvas.addEventListener("wheel", (event) => { event.preventDefault(); this.go(this.z + (event.deltaY > 0 ? -1 : 1) * (this.canal?.up ? 1 : -1) * 0.1); }, { passive: false });
    this.canvas.addEventListener("keydown", (event) => {
      const step = { ArrowUp: 0.1, ArrowDown: -0.1, PageUp: 1, PageDown: -1 }[event.key], turn = { ArrowLeft: -5, ArrowRight: 5 }[event.key];
      if (step) this.go(this.z + step * (this.canal?.up ? 1 : -1)); else if (turn) this.setTurn((this.turn + turn + 180) % 180); else return;
      event.preventDefault();
    });
  }

  get canal() { return this.viewer.canal; }
  get index() { return this.viewer.chosen; }

  async load() {
    const { canal } = this, empty = document.querySelector(".sv-empty");
    empty.hidden = Boolean(canal); this.canvas.hidden = this.section.hidden = !canal;
    for (const id of ["sv-depth", "sv-turn"]) $(id).disabled = !canal;
    this.line = null;
    if (!canal) { $("sv-values").replaceChildren(); return; }
    Object.assign($("sv-depth"), { min: canal.z[0], max: canal.z.at(-1), step: 0.1 });
    this.z = Math.min(Math.max(this.z || canal.z.at(-1) / 2, canal.z[0]), canal.z.at(-1));
    await this.fetchLine();
    this.go(this.z, false);
  }

  // One request at a time; while it runs only the newest wish waits.
  async latest(name, make) {
    const waits = (this.waits ??= {});
    waits[name] = make;
    if (this[`busy-${name}`]) return;
    this[`busy-${name}`] = true;
    while (waits[name]) { const job = waits[name]; waits[name] = null; try { await job(); } catch { /* told by the state line */ } }
    this[`busy-${name}`] = false;
  }

  async stored(path) {
    const answer = await fetch(`${this.viewer.base}/${path}`);
    if (!answer.ok) throw new Error("refused");
    return new Uint16Array(await answer.arrayBuffer());
  }

  async fetchLine() {
    await this.latest("line", async () => {
      const { index } = this, radians = (this.turn * Math.PI) / 180, query = `${index}?turn=${radians.toFixed(5)}`;
      const [told, greys] = await Promise.all([fetch(`${this.viewer.base}/line/${query}`).then((a) => a.json()), this.stored(`straight/${query}`)]);
      this.line = told; this.greys = greys; this.paint();
    });
  }

  setTurn(turn) { this.turn = Math.round(turn); this.fetchLine(); this.draw(); }

  // The cursor at a station; the slices follow unless they asked.
  go(z, lead = true) {
    const { canal } = this;
    if (!canal) return;
    this.z = Math.min(Math.max(Math.round(z * 10) / 10, canal.z[0]), canal.z.at(-1));
    if (lead) this.viewer.point(this.viewer.toIndex(canal.centre[this.station()]));
    this.values();
    this.draw();
    this.latest("cut", async () => { const asked = this.z; this.across = await this.stored(`across/${this.index}?z=${asked.toFixed(3)}`); this.acrossAt = asked; this.paint(); });
  }

  station() { const { z } = this.canal; return Math.min(Math.round(((this.z - z[0]) / (z.at(-1) - z[0])) * (z.length - 1)), z.length - 1); }

  // The cross-hair moved: the cursor goes to the nearest station when the canal is near.
  follow(place) {
    if (!this.canal) return;
    let best = 1.5, at = -1;
    this.canal.centre.forEach((p, i) => { const far = Math.hypot(p[0] - place[0], p[1] - place[1], p[2] - place[2]); if (far < best) { best = far; at = i; } });
    if (at >= 0) this.go(this.canal.z[at], false);
  }

  pointed(event) {
    if (!this.geometry) return;
    this.canvas.focus({ preventScroll: true });
    this.go(this.geometry.z(event.clientY - this.canvas.getBoundingClientRect().top));
  }

  paint() {
    const { lut } = this.viewer;
    if (this.line && this.greys) lut.paint(this.picture, this.greys, this.greys.length / this.line.z.length, this.line.z.length);
    if (this.across) { const side = Math.round(Math.sqrt(this.across.length)); lut.paint(this.cut, this.across, side, side); }
    this.draw();
  }

  values() {
    const { canal } = this, { words } = this.viewer, i = this.station(), between = (name) => (canal[name][i] === null ? words.unmeasured : figure(words.figures[name], `${canal[name][i].toFixed(2)} mm`, `(${canal[`${name}_low`][i].toFixed(2)}–${canal[`${name}_high`][i].toFixed(2)})`, canal.source));
    const rows = [[words.place, this.level(this.z)], ...["minor", "major", "wall"].map((name) => [words.figures[name].title, between(name)])];
    $("sv-values").replaceChildren(...rows.flatMap(([name, value]) => { const says = document.createElement("dd"); says.append(value); return [Object.assign(document.createElement("dt"), { textContent: name }), says]; }));
    $("sv-depth").value = this.z; $("sv-depth").setAttribute("aria-valuetext", this.level(this.z));
    $("o-sv-depth").textContent = `${this.shown(this.z).toFixed(1)} mm`; $("o-sv-turn").textContent = `${this.turn}°`; $("sv-turn").value = this.turn;
  }

  // What the ruler counts: depth from the reference point when there is one, else from the end.
  shown(z) { const { canal } = this; return canal.above === null ? z : canal.above + canal.length[0] - z; }
  level(z) { const { words } = this.viewer; return this.viewer.fill(this.canal.above === null ? words.level : words.depth, { mm: this.shown(z).toFixed(1) }); }

  draw() {
    if (this.drawing) return;
    this.drawing = true;
    requestAnimationFrame(() => { this.drawing = false; if (this.canal && this.line) { this.drawLine(); this.drawCut(); } });
  }

  ready(canvas) {
    const ratio = Math.min(window.devicePixelRatio || 1, 2), wide = canvas.clientWidth, high = canvas.clientHeight;
    if (!wide || !high) return null;
    if (canvas.width !== Math.round(wide * ratio) || canvas.height !== Math.round(high * ratio)) { canvas.width = Math.round(wide * ratio); canvas.height = Math.round(high * ratio); }
    const context = canvas.getContext("2d", { alpha: false });
    context.setTransform(ratio, 0, 0, ratio, 0, 0); context.fillStyle = "#07090c"; context.fillRect(0, 0, wide, high); context.imageSmoothingQuality = "high";
    return [context, wide, high];
  }

  // The crown is up for a lower tooth and down for an upper one, as in the section of a case.
  drawLine() {
    const ready = this.ready(this.canvas);
    if (!ready) return;
    const [context, wide, high] = ready, { canal, line } = this, low = line.z[0], top = line.z.at(-1), ruler = 46, k = Math.min(high / (top - low), (wide - ruler) / (2 * REACH));
    const x = ruler + (wide - ruler) / 2, middle = high / 2, mid = (low + top) / 2, sign = canal.up ? -1 : 1, y = (z) => middle + sign * (z - mid) * k;
    this.geometry = { z: (py) => mid + (sign * (py - middle)) / k };
    context.save(); context.translate(x, middle); context.scale(1, sign);
    const half = (this.picture.width * STEP * k) / 2;
    context.drawImage(this.picture, -half, -((top - low) * k) / 2, 2 * half, (top - low) * k); context.restore();
    context.lineWidth = 1.5; context.strokeStyle = "#7fe0d6";
    for (const side of [-1, 1]) { context.beginPath(); line.half.z.forEach((z, i) => context[i ? "lineTo" : "moveTo"](x + side * line.half.width[i] * k, y(z))); context.stroke(); }
    this.ruler(context, ruler, high, y, k);
    context.strokeStyle = "#ffffff"; context.lineWidth = 1.25; context.beginPath(); context.moveTo(ruler, y(this.z)); context.lineTo(wide, y(this.z)); context.stroke();
    context.font = "600 13px system-ui, sans-serif"; context.textBaseline = "bottom"; context.textAlign = "right"; context.fillStyle = "#ffffff";
    context.fillText(`${this.shown(this.z).toFixed(1)} mm`, wide - 6, y(this.z) - 3);
  }

  ruler(context, right, high, y, k) {
    context.fillStyle = "#10151c"; context.fillRect(0, 0, right, high);
    const step = k > 24 ? 0.5 : 1, label = k > 14 ? 1 : k > 6 ? 2 : 5, from = this.line.z[0], to = this.line.z.at(-1), ends = [this.shown(from), this.shown(to)].sort((a, b) => a - b);
    const z = (shown) => (this.canal.above === null ? shown : this.canal.above + this.canal.length[0] - shown);
    context.strokeStyle = "#a9b2c1"; context.fillStyle = "#e8ecf2"; context.lineWidth = 1; context.font = "12px system-ui, sans-serif"; context.textAlign = "right"; context.textBaseline = "middle";
    for (let mm = Math.ceil(ends[0] / step) * step; mm <= ends[1]; mm += step) {
      const at = y(z(mm)), whole = Math.abs(mm - Math.round(mm)) < 1e-6;
      context.beginPath(); context.moveTo(right, at); context.lineTo(right - (whole ? 10 : 5), at); context.stroke();
      if (whole && Math.round(mm) % label === 0 && at > 8 && at < high - 8) context.fillText(Math.round(mm), right - 14, at);
    }
  }

  drawCut() {
    const ready = this.ready(this.section);
    if (!ready || !this.across) return;
    const [context, wide, high] = ready, { canal, line } = this, k = Math.min(wide, high) / (2 * ACROSS), x = wide / 2, y = high / 2, i = this.station(), side = this.cut.width * ACROSS_STEP * k;
    context.drawImage(this.cut, x - side / 2, y - side / 2, side, side);
    context.strokeStyle = "#7fe0d6"; context.lineWidth = 1.75; context.beginPath();
    context.ellipse(x, y, Math.max((canal.major[i] / 2) * k, 0.5), Math.max((canal.minor[i] / 2) * k, 0.5), -line.axis[i], 0, 2 * Math.PI); context.stroke();
    const turn = (this.turn * Math.PI) / 180, far = Math.min(wide, high) / 2;
    context.strokeStyle = "#e8ecf2"; context.setLineDash([3, 4]); context.lineWidth = 1; context.globalAlpha = 0.7;
    for (const way of [-1, 1]) { context.beginPath(); context.moveTo(x + way * 0.55 * far * Math.cos(turn), y - way * 0.55 * far * Math.sin(turn)); context.lineTo(x + way * far * Math.cos(turn), y - way * far * Math.sin(turn)); context.stroke(); }
    context.setLineDash([]); context.globalAlpha = 1; context.lineWidth = 2;
    context.beginPath(); context.moveTo(10, high - 14); context.lineTo(10, high - 10); context.lineTo(10 + k, high - 10); context.lineTo(10 + k, high - 14); context.stroke();
    context.font = "600 12px system-ui, sans-serif"; context.fillStyle = "#e8ecf2"; context.textAlign = "left"; context.textBaseline = "bottom"; context.fillText("1 mm", 10, high - 17);
  }
}
