// Temperatures over time at the cursor: at the root surface with its limit above, on the axis below.

import { make } from "./stage.js";

const WIDE = 640, TALL = 108, LEFT = 36, RIGHT = 8, HEAD = 20, FOOT = 18;

export class Curves {
  constructor(box, film, seek) {
    this.film = film;
    this.svg = make("svg", { viewBox: `0 0 ${WIDE} ${2 * (HEAD + TALL) + FOOT}`, class: "curves", role: "img" });
    this.svg.append(make("title", {}, `${box.dataset.surface}; ${box.dataset.axis}`));
    this.rows = [["surface", box.dataset.surface, "var(--accent)"], ["axis", box.dataset.axis, "var(--cw-carrier-edge)"]].map(([name, words, stroke], i) => {
      const top = HEAD + i * (HEAD + TALL), group = make("g"), path = make("path", { fill: "none", stroke, "stroke-width": 1.8, "stroke-linejoin": "round" });
      this.svg.append(this.text(words, LEFT, top - 6), group, path);
      return { name, top, group, path, limit: box.dataset.limit };
    });
    this.now = make("path", { stroke: "var(--ink)", "stroke-width": 1.2 });
    this.svg.append(this.now);
    for (let t = 0; t <= film.seconds; t += film.seconds > 150 ? 30 : 10) this.svg.append(this.text(`${t}`, this.x(t), 2 * (HEAD + TALL) + 14, "middle"));
    this.svg.append(this.text("s", WIDE - 2, 2 * (HEAD + TALL) + 14, "end"));
    const at = (event) => {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
      seek(((point.x - LEFT) / (WIDE - LEFT - RIGHT)) * film.seconds);
    };
    this.svg.addEventListener("pointerdown", (event) => { this.svg.setPointerCapture(event.pointerId); at(event); });
    this.svg.addEventListener("pointermove", (event) => { if (event.buttons) at(event); });
    box.replaceChildren(this.svg);
  }

  x(time) { return LEFT + (time / this.film.seconds) * (WIDE - LEFT - RIGHT); }
  text(words, x, y, anchor = "start") { return make("text", { x, y, "font-size": 12.5, fill: "var(--soft)", "text-anchor": anchor }, words); }

  // Draw both courses at a depth.
  lay(depth) {
    const { film } = this;
    for (const { name, top, group, path, limit } of this.rows) {
      const values = film.course(name, depth), known = values.filter(Number.isFinite);
      const ceiling = name === "surface" ? Math.max(film.start + 11, ...known) + 0.5 : Math.max(80, ...known) + 5;
      const floor = Math.min(...known, film.start) - (name === "surface" ? 0.5 : 5), y = (v) => top + TALL - ((v - floor) / (ceiling - floor)) * (TALL - 4);
      const step = name === "surface" ? 5 : ceiling > 150 ? 50 : 20, lines = [];
      for (let level = Math.ceil(floor / step) * step; level < ceiling; level += step) {
        lines.push(make("path", { d: `M${LEFT} ${y(level)}H${WIDE - RIGHT}`, stroke: "var(--line)", "stroke-width": 1 }), this.text(`${level}`, LEFT - 6, y(level) + 4, "end"));
      }
      if (name === "surface") {
        lines.push(make("path", { d: `M${LEFT} ${y(film.start + 10)}H${WIDE - RIGHT}`, stroke: "var(--danger)", "stroke-width": 1.4, "stroke-dasharray": "6 4" }));
        const words = this.text(limit, WIDE - RIGHT, y(film.start + 10) + 14, "end");
        words.setAttribute("fill", "var(--danger)");
        lines.push(words);
      }
      group.replaceChildren(...lines);
      path.setAttribute("d", "M" + film.time.map((t, i) => (Number.isFinite(values[i]) ? `${this.x(t).toFixed(1)} ${y(values[i]).toFixed(1)}` : null)).filter(Boolean).join("L"));
    }
  }

  move(time) { this.now.setAttribute("d", `M${this.x(time)} ${HEAD}V${2 * (HEAD + TALL)}`); }
}
