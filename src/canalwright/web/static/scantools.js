// What a hand does in a slice: look, window, move, measure, point, drag a point of the canal; by mouse, by touch and by keys.

const NEAR = { mouse: 16, touch: 30 }; // px: a finger hides what it is put on
const NEEDS = { length: 2, angle: 3, tooth: 1, canal: 2, branch: 2, wall: 1, reference: 1 };
const HANDLES = 2; // mm between the points of a canal that can be dragged

export class Tools {
  constructor(viewer) {
    this.viewer = viewer; this.name = "look"; this.clicked = []; this.measures = []; this.held = null; this.chosen = -1; this.fingers = new Map();
    for (const pane of viewer.panes) this.listen(pane);
    viewer.layers.push((context, pane) => this.draw(context, pane));
  }

  choose(name) {
    this.name = name; this.clicked = []; this.held = null; this.chosen = -1;
    for (const button of document.querySelectorAll("[data-tool]")) button.setAttribute("aria-pressed", String(button.dataset.tool === name));
    this.viewer.hint(this.viewer.words[`tool.${name}`]);
    for (const pane of this.viewer.panes) pane.canvas.dataset.tool = name;
    this.viewer.draw();
  }

  // The points of the chosen canal that can be dragged: its end first, its orifice last.
  handles() {
    const canal = this.viewer.canal;
    if (this.name !== "points" || !canal) return [];
    const last = canal.z.at(-1), count = Math.max(2, Math.round(last / HANDLES) + 1);
    return Array.from({ length: count }, (_, i) => {
      const at = Math.round((i / (count - 1)) * (canal.z.length - 1));
      return { at, place: canal.centre[at], z: canal.z[at], end: i === 0 ? "move terminus" : i === count - 1 ? "move orifice" : "" };
    });
  }

  listen(pane) {
    const { canvas } = pane, place = (event) => { const box = canvas.getBoundingClientRect(); return [event.clientX - box.left, event.clientY - box.top]; };
    canvas.addEventListener("wheel", (event) => {
      event.preventDefault();
      if (event.ctrlKey) pane.zoomAt(Math.exp(-event.deltaY / 300), ...place(event));
      else pane.go(pane.number + (event.deltaY > 0 ? 1 : -1) * (event.shiftKey ? 5 : 1), event.timeStamp);
    }, { passive: false });
    canvas.addEventListener("contextmenu", (event) => event.preventDefault());
    canvas.addEventListener("dblclick", () => { if (this.name === "move") pane.fit(); });
    canvas.addEventListener("pointerdown", (event) => {
      canvas.focus({ preventScroll: true });
      canvas.setPointerCapture(event.pointerId);
      this.fingers.set(event.pointerId, place(event));
      if (this.fingers.size === 2) { this.drag = null; this.held = null; return; }
      this.drag = { pane, way: event.button === 2 ? "window" : event.button === 1 ? "move" : this.name, from: place(event), last: place(event) };
      this.down(pane, place(event), NEAR[event.pointerType] ?? NEAR.mouse);
    });
    canvas.addEventListener("pointermove", (event) => {
      if (!this.fingers.has(event.pointerId)) return;
      const [x, y] = place(event);
      if (this.fingers.size === 2) this.pinch(pane, event.pointerId, [x, y]);
      else if (this.drag?.pane === pane) this.dragged(pane, [x, y]);
      this.fingers.set(event.pointerId, [x, y]);
    });
    for (const name of ["pointerup", "pointercancel"]) {
      canvas.addEventListener(name, (event) => {
        this.fingers.delete(event.pointerId);
        if (this.drag?.pane === pane && name === "pointerup") this.up(pane, place(event));
        this.drag = null;
      });
    }
    canvas.addEventListener("keydown", (event) => this.key(event, pane));
  }

  pinch(pane, id, now) {
    const [other] = [...this.fingers].filter(([key]) => key !== id).map(([, at]) => at), before = this.fingers.get(id);
    const far = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]) || 1;
    pane.move((now[0] - before[0]) / 2, (now[1] - before[1]) / 2);
    pane.zoomAt(far(now, other) / far(before, other), (now[0] + other[0]) / 2, (now[1] + other[1]) / 2);
  }

  down(pane, [x, y], near) {
    const { viewer } = this;
    if (this.drag.way === "look") viewer.point(pane.toIndex(x, y), pane);
    else if (this.drag.way === "points") {
      const [found] = this.handles().map((handle, i) => ({ handle, i, far: this.far(pane, handle.place, [x, y]) })).filter((h) => h.far < near).sort((a, b) => a.far - b.far);
      this.held = found ? { ...found.handle, to: found.handle.place } : null;
      this.chosen = found ? found.i : -1;
      viewer.draw();
    }
  }

  dragged(pane, [x, y]) {
    const { viewer, drag } = this, [dx, dy] = [x - drag.last[0], y - drag.last[1]];
    drag.last = [x, y];
    if (drag.way === "move") pane.move(dx, dy);
    else if (drag.way === "window") viewer.window(dx, dy);
    else if (drag.way === "look") viewer.point(pane.toIndex(x, y), pane);
    else if (drag.way === "points" && this.held) this.hold(pane, x, y);
    else if (drag.way === "length" && this.clicked.length === 0 && Math.hypot(x - drag.from[0], y - drag.from[1]) > 6) this.clicked = [this.mark(pane, drag.from)];
    this.loose = this.clicked.length ? this.mark(pane, [x, y]) : null;
    if (this.loose) viewer.draw();
  }

  up(pane, at) {
    if (this.held) return this.release();
    if (!NEEDS[this.drag.way]) return;
    const { viewer } = this, inside = pane.toIndex(...at).every((v, k) => v >= -0.5 && v <= viewer.planes.shape[k] - 0.5);
    viewer.problem(inside ? [] : [viewer.words.outside]);
    if (inside) this.click(pane, this.mark(pane, at));
  }

  mark(pane, [x, y]) { return { plane: pane.plane, number: pane.number, place: this.viewer.toPatient(pane.toIndex(x, y)) }; }

  // The held point follows the hand in the plane of the picture; its depth behind the picture stays.
  hold(pane, x, y) {
    const { viewer } = this, index = pane.toIndex(x, y), own = viewer.toIndex(this.held.to);
    index[pane.laid.n] = own[pane.laid.n];
    this.held.to = viewer.toPatient(index);
    viewer.draw();
  }

  release() {
    const { held, viewer } = this;
    this.held = null;
    if (Math.hypot(...held.to.map((v, k) => v - held.place[k])) < 0.02) return viewer.draw();
    const points = held.end ? [held.to] : [held.place, held.to];
    viewer.correct({ kind: held.end || "move point", points });
  }

  click(pane, mark) {
    const { viewer, name } = this;
    this.clicked.push(mark); this.loose = null;
    if (this.clicked.length < NEEDS[name]) {
      viewer.hint(this.clicked.length === 1 ? viewer.words.first : viewer.words.third);
      return viewer.draw();
    }
    const marks = this.clicked, points = marks.map((m) => m.place);
    this.clicked = [];
    viewer.hint(viewer.words[`tool.${name}`]);
    if (name === "length" || name === "angle") { this.measures.push({ kind: name, plane: mark.plane, number: mark.number, points }); viewer.measured(this.measures); viewer.draw(); }
    else if (name === "tooth") viewer.find(points[0]);
    else if (name === "reference") viewer.refer(points[0]);
    else if (name === "canal") viewer.correct({ kind: "add canal", canal: viewer.freeName(), points });
    else if (name === "branch") viewer.correct({ kind: "add portal", points });
    else if (name === "wall") viewer.correct({ kind: "barrier", points, radius: Number(document.getElementById("sv-radius").value) });
  }

  key(event, pane) {
    const { viewer } = this, step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (event.altKey || event.metaKey || event.ctrlKey) return;
    if (step && event.shiftKey) pane.move(-30 * step[0], -30 * step[1]);
    else if (step) this.nudge(pane, step);
    else if (event.key === "PageUp" || event.key === "PageDown") pane.go(pane.number + (event.key === "PageUp" ? 1 : -1), event.timeStamp);
    else if (event.key === "Home") pane.go(0); else if (event.key === "End") pane.go(pane.stack.count - 1);
    else if (event.key === "+" || event.key === "=") pane.zoomAt(1.25); else if (event.key === "-") pane.zoomAt(0.8);
    else if (event.key === "[") viewer.window(0, 12); else if (event.key === "]") viewer.window(0, -12);
    else if (event.key === "Enter") this.enter(pane);
    else if (event.key.toLowerCase() === "n" || event.key.toLowerCase() === "p") this.next(event.key.toLowerCase() === "n" ? 1 : -1);
    else if (event.key === "Escape") { this.clicked = []; this.held = null; this.chosen = -1; viewer.draw(); }
    else return;
    event.preventDefault();
  }

  nudge(pane, [dx, dy]) {
    const { viewer } = this, { h, v, up } = pane.laid;
    if (this.held) {
      const [x, y] = pane.toScreen(viewer.toIndex(this.held.to)), mm = 0.1 * pane.scale;
      return this.hold(pane, x + dx * mm, y + dy * mm);
    }
    const cross = viewer.cross.map((value, k) => (k === h ? Math.round(value) + dx : k === v ? Math.round(value) + (up ? -dy : dy) : value));
    viewer.point(cross, pane);
    pane.reveal(viewer.cross);
  }

  enter(pane) {
    if (this.held) return this.release();
    if (NEEDS[this.name]) this.click(pane, { plane: pane.plane, number: pane.number, place: this.viewer.toPatient(this.viewer.cross) });
  }

  next(way) {
    const { viewer } = this;
    if (this.name !== "points") this.choose("points");
    const handles = this.handles();
    if (!handles.length) return;
    this.chosen = (this.chosen + way + handles.length + (this.chosen < 0 && way < 0 ? 1 : 0)) % handles.length;
    const handle = handles[this.chosen];
    this.held = { ...handle, to: handle.place };
    viewer.point(viewer.toIndex(handle.place));
    viewer.say(viewer.words.point.replace("{n}", this.chosen + 1).replace("{most}", handles.length).replace("{mm}", handle.z.toFixed(1)));
  }

  far(pane, place, [x, y]) {
    const [px, py] = pane.toScreen(this.viewer.toIndex(place));
    return Math.hypot(px - x, py - y);
  }

  draw(context, pane) {
    const { viewer } = this, onto = (place) => pane.toScreen(viewer.toIndex(place));
    const line = (points, colour, wide, dash = []) => { context.strokeStyle = colour; context.lineWidth = wide; context.setLineDash(dash); context.beginPath(); points.forEach((p, i) => (i ? context.lineTo(...p) : context.moveTo(...p))); context.stroke(); context.setLineDash([]); };
    const dot = ([x, y], size, fill, edge) => { context.beginPath(); context.arc(x, y, size, 0, 7); context.fillStyle = fill; context.fill(); context.strokeStyle = edge; context.lineWidth = 1.5; context.stroke(); };
    const shown = [...this.measures, ...(this.clicked.length ? [{ kind: this.name, plane: this.clicked[0].plane, number: pane.number, points: [...this.clicked, ...(this.loose ? [this.loose] : [])].map((m) => m.place), open: true }] : [])];
    for (const measure of shown) {
      if (measure.plane !== pane.plane || (!measure.open && Math.abs(measure.number - pane.number) > 0)) continue;
      const points = measure.points.map(onto);
      line(points, "#07090c", 4); line(points, "#ffe08a", 1.75);
      for (const p of points) dot(p, 3.5, "#ffe08a", "#07090c");
      if (!measure.open) this.write(context, viewer.measure(measure), points[measure.kind === "angle" ? 1 : points.length - 1]);
    }
    const handles = this.handles();
    if (this.held) line([this.held.place, this.held.to].map(onto), "#ffffff", 1.5, [4, 3]);
    handles.forEach((handle, i) => {
      const mine = i === this.chosen, at = onto(mine && this.held ? this.held.to : handle.place);
      dot(at, mine ? 7.5 : 5.5, mine ? "#ffffff" : handle.end ? "#ffb38a" : "#12303a", "#8fe3dd");
    });
  }

  write(context, text, [x, y]) {
    context.font = "600 14px system-ui, sans-serif"; context.textAlign = "left"; context.textBaseline = "middle";
    context.strokeStyle = "#07090c"; context.lineWidth = 4; context.strokeText(text, x + 9, y - 9);
    context.fillStyle = "#ffe08a"; context.fillText(text, x + 9, y - 9);
  }
}
