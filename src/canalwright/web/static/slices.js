// Slices of a scan: fetched as 16-bit greys, kept, shown through a window that is laid here, with all that is drawn on them.

const KEPT = 48 * 1024 * 1024; // bytes of pictures kept for each plane
const AHEAD = 10, BEHIND = 3, AT_ONCE = 2;
export const LAID = { axial: { h: 0, v: 1, n: 2, up: false, ends: ["R", "L", "A", "P"] }, coronal: { h: 0, v: 2, n: 1, up: true, ends: ["R", "L", "S", "I"] }, sagittal: { h: 1, v: 2, n: 0, up: true, ends: ["A", "P", "S", "I"] } };

// The pictures of one plane: `at(n)` gives one that is there, `want(n, way)` fetches it and those that will be asked for next.
export class Stack {
  constructor(base, plane, shape, arrived) {
    this.laid = LAID[plane];
    this.base = `${base}/slice/${plane}/`;
    this.count = shape[this.laid.n]; this.wide = shape[this.laid.h]; this.high = shape[this.laid.v];
    this.most = Math.max(24, Math.min(this.count, Math.floor(KEPT / (this.wide * this.high * 2))));
    this.kept = new Map(); this.asked = new Map(); this.queue = []; this.arrived = arrived;
  }

  at(n) {
    const found = this.kept.get(n);
    if (found) { this.kept.delete(n); this.kept.set(n, found); }
    return found;
  }

  want(n, way = 0) {
    const next = [n];
    for (let i = 1; i <= AHEAD; i++) {
      if (way) { next.push(n + way * i); if (i <= BEHIND) next.push(n - way * i); } else if (i <= BEHIND) next.push(n + i, n - i);
    }
    this.queue = next.filter((k) => k >= 0 && k < this.count && !this.kept.has(k) && !this.asked.has(k));
    if (this.queue[0] === n) this.ask(this.queue.shift()); // what is looked at does not wait for what may be looked at next
    this.pump();
  }

  pump() {
    while (this.queue.length && this.asked.size < AT_ONCE) this.ask(this.queue.shift());
  }

  ask(n) { this.asked.set(n, this.fetch(n).finally(() => { this.asked.delete(n); this.pump(); })); }

  async fetch(n) {
    try {
      const answer = await fetch(this.base + n);
      if (!answer.ok) return;
      this.kept.set(n, new Uint16Array(await answer.arrayBuffer()));
      while (this.kept.size > this.most) this.kept.delete(this.kept.keys().next().value);
      this.arrived(n);
    } catch { /* the state line tells of a server that is gone */ }
  }
}

// Greys through a window, as pixels. One table for all pictures of a page.
export class Lut {
  constructor(tones) { this.tones = tones; this.table = new Uint32Array(65536); this.version = 0; }

  set(dark, bright) {
    const [least, most] = this.tones, span = Math.max(most - least, 1e-9), wide = Math.max(bright - dark, 1e-9);
    for (let i = 0; i < 65536; i++) {
      const share = (least + (i / 65535) * span - dark) / wide, grey = share <= 0 ? 0 : share >= 1 ? 255 : Math.round(255 * share);
      this.table[i] = 0xff000000 | (grey << 16) | (grey << 8) | grey;
    }
    this.version++;
  }

  grey(stored) { return this.tones[0] + (stored / 65535) * (this.tones[1] - this.tones[0]); }

  paint(canvas, stored, wide, high) {
    if (canvas.width !== wide || canvas.height !== high) { canvas.width = wide; canvas.height = high; }
    const context = canvas.getContext("2d"), image = context.createImageData(wide, high), pixels = new Uint32Array(image.data.buffer), { table } = this;
    for (let i = 0; i < pixels.length; i++) pixels[i] = table[stored[i]];
    context.putImageData(image, 0, 0);
  }
}

// One plane on the page. `view` is shared: cross (index a, b, c), lut, and what to draw.
export class Pane {
  constructor(figure, view) {
    this.figure = figure; this.view = view; this.plane = figure.dataset.plane; this.laid = LAID[this.plane];
    this.canvas = figure.querySelector("canvas"); this.slider = figure.querySelector("input"); this.output = figure.querySelector("output");
    this.zoom = 1; this.pan = [0, 0]; this.picture = document.createElement("canvas"); this.shown = ""; this.way = 0;
    this.stack = new Stack(view.base, this.plane, view.planes.shape, (n) => { if (n === this.number) this.view.draw(); });
    Object.assign(this.slider, { min: 0, max: this.stack.count - 1, step: 1, disabled: false });
    this.slider.addEventListener("input", () => this.go(Number(this.slider.value)));
    new ResizeObserver(() => this.view.draw()).observe(this.canvas.parentElement);
  }

  get number() { return Math.min(Math.max(Math.round(this.view.cross[this.laid.n]), 0), this.stack.count - 1); }

  // Another slice: the cross-hair goes along.
  go(n, began = performance.now()) {
    const to = Math.min(Math.max(n, 0), this.stack.count - 1);
    if (to === this.number) return;
    this.way = Math.sign(to - this.number);
    this.asked = began;
    const cross = [...this.view.cross];
    cross[this.laid.n] = to;
    this.view.point(cross, this);
  }

  // Screen (CSS px) of an index and back; the picture's middle is at the canvas' middle when nothing was moved.
  get scale() {
    const { h, v } = this.laid, [sh, sv] = [this.view.planes.spacing[h], this.view.planes.spacing[v]];
    return 0.96 * Math.min(this.canvas.clientWidth / (this.stack.wide * sh), this.canvas.clientHeight / (this.stack.high * sv)) * this.zoom;
  }

  toScreen(index) {
    const { h, v, up } = this.laid, { spacing } = this.view.planes, k = this.scale;
    const row = up ? this.stack.high - 1 - index[v] : index[v];
    return [this.canvas.clientWidth / 2 + this.pan[0] + k * spacing[h] * (index[h] - (this.stack.wide - 1) / 2),
      this.canvas.clientHeight / 2 + this.pan[1] + k * spacing[v] * (row - (this.stack.high - 1) / 2)];
  }

  toIndex(x, y) {
    const { h, v, n, up } = this.laid, { spacing } = this.view.planes, k = this.scale, index = [0, 0, 0];
    index[h] = (x - this.canvas.clientWidth / 2 - this.pan[0]) / (k * spacing[h]) + (this.stack.wide - 1) / 2;
    const row = (y - this.canvas.clientHeight / 2 - this.pan[1]) / (k * spacing[v]) + (this.stack.high - 1) / 2;
    index[v] = up ? this.stack.high - 1 - row : row;
    index[n] = this.view.cross[n];
    return index;
  }

  zoomAt(factor, x = this.canvas.clientWidth / 2, y = this.canvas.clientHeight / 2) {
    const held = this.toIndex(x, y);
    this.zoom = Math.min(Math.max(this.zoom * factor, 0.5), 40);
    const [nx, ny] = this.toScreen(held);
    this.pan = [this.pan[0] + x - nx, this.pan[1] + y - ny];
    this.view.draw();
  }

  move(dx, dy) { this.pan = [this.pan[0] + dx, this.pan[1] + dy]; this.view.draw(); }
  fit() { this.zoom = 1; this.pan = [0, 0]; this.view.draw(); }

  // Bring a place into sight when it lies outside.
  reveal(index) {
    const [x, y] = this.toScreen(index), w = this.canvas.clientWidth, h = this.canvas.clientHeight, edge = 24;
    const dx = x < edge ? edge - x : x > w - edge ? w - edge - x : 0, dy = y < edge ? edge - y : y > h - edge ? h - edge - y : 0;
    if (dx || dy) this.pan = [this.pan[0] + dx, this.pan[1] + dy];
  }

  draw() {
    const { canvas, view, stack } = this, ratio = Math.min(window.devicePixelRatio || 1, 2), n = this.number;
    const [wide, high] = [Math.round(canvas.clientWidth * ratio), Math.round(canvas.clientHeight * ratio)];
    if (!wide || !high) return;
    if (canvas.width !== wide || canvas.height !== high) { canvas.width = wide; canvas.height = high; }
    const stored = stack.at(n), context = canvas.getContext("2d", { alpha: false });
    stack.want(n, this.way);
    if (stored && this.shown !== `${n}:${view.lut.version}`) { view.lut.paint(this.picture, stored, stack.wide, stack.high); this.shown = `${n}:${view.lut.version}`; this.painted = n; }
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.fillStyle = "#07090c"; context.fillRect(0, 0, wide, high);
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    if (this.painted !== undefined) {
      const { h, v } = this.laid, { spacing } = view.planes, k = this.scale, w = k * spacing[h] * stack.wide, t = k * spacing[v] * stack.high;
      context.imageSmoothingQuality = "high"; context.imageSmoothingEnabled = k * spacing[h] < 14;
      context.drawImage(this.picture, canvas.clientWidth / 2 + this.pan[0] - w / 2, canvas.clientHeight / 2 + this.pan[1] - t / 2, w, t);
    }
    this.frame(context);
    for (const layer of view.layers) layer(context, this);
    if (this.painted === n && this.asked !== undefined) { view.times.push(performance.now() - this.asked); if (view.times.length > 500) view.times.shift(); this.asked = undefined; }
    this.say(n);
  }

  say(n) {
    if (this.told === n) return;
    this.told = n;
    this.slider.value = n;
    this.output.textContent = this.view.words.slice.replace("{n}", n + 1).replace("{most}", this.stack.count);
    const spoken = this.view.words.spoken.replace("{n}", n + 1).replace("{most}", this.stack.count);
    this.slider.setAttribute("aria-valuetext", spoken);
  }

  // Sides, a bar of length, the cross-hair.
  frame(context) {
    const w = this.canvas.clientWidth, h = this.canvas.clientHeight, { laid, view } = this, [x, y] = this.toScreen(view.cross);
    const line = (axis, from, to) => { context.strokeStyle = view.colours[axis]; context.setLineDash(view.dashes[axis]); context.beginPath(); context.moveTo(...from); context.lineTo(...to); context.stroke(); };
    context.lineWidth = 1.25; context.globalAlpha = 0.85;
    line(laid.h, [x, 0], [x, y - 14]); line(laid.h, [x, y + 14], [x, h]);
    line(laid.v, [0, y], [x - 14, y]); line(laid.v, [x + 14, y], [w, y]);
    context.setLineDash([]); context.globalAlpha = 1;
    context.font = "600 13px system-ui, sans-serif"; context.fillStyle = "#e8ecf2"; context.textAlign = "center"; context.textBaseline = "middle";
    const [left, right, top, bottom] = laid.ends;
    for (const [text, tx, ty] of [[left, 12, h / 2], [right, w - 12, h / 2], [top, w / 2, 12], [bottom, w / 2, h - 12]]) {
      context.strokeStyle = "#07090c"; context.lineWidth = 3; context.strokeText(text, tx, ty); context.fillText(text, tx, ty);
    }
    const mm = [20, 10, 5, 2, 1, 0.5].find((v) => v * this.scale < 0.3 * w) ?? 0.5, long = mm * this.scale;
    context.strokeStyle = "#e8ecf2"; context.lineWidth = 2;
    context.beginPath(); context.moveTo(14, h - 18); context.lineTo(14, h - 14); context.lineTo(14 + long, h - 14); context.lineTo(14 + long, h - 18); context.stroke();
    context.textAlign = "left"; context.fillText(`${mm} mm`, 14, h - 28);
  }
}
