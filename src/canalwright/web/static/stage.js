// The section with the filling alive in it: filling painted by its temperature, instruments, melt front, root surface, profiles.

import { between, colour } from "./film.js";

const SVG = "http://www.w3.org/2000/svg";
const PANEL = 34, GAP = 9, STOPS = 48;

export function make(name, attributes = {}, ...children) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...children);
  return element;
}

export class Stage {
  constructor(svg, film) {
    this.svg = svg;
    this.film = film;
    const { scale, widen, x, y, way, top } = svg.dataset;
    this.scale = +scale; this.across = +scale * +widen; this.x = +x; this.way = +way; this.y0 = +y; this.top = +top;
    this.bottom = film.depth[0];
    this.build();
  }

  y(depth) { return this.y0 + this.way * this.scale * depth; }
  depth(y) { return (y - this.y0) / (this.way * this.scale); }
  half(depth) { return between(this.film.lumen.depth, this.film.lumen.minor, depth) / 2; }
  wall(depth) { return between(this.film.lumen.depth, this.film.lumen.wall, depth); }

  build() {
    const { svg } = this, prefix = svg.querySelector("title").id.replace("-title", "");
    this.gradients = ["axis", "surface"].map((name) => this.gradient(`${prefix}-${name}`, name));
    svg.querySelector("defs").append(...this.gradients.map((g) => g.element));
    const upper = Math.max(this.film.lumen.depth.at(-1), this.top);
    const depths = Array.from({ length: 40 }, (_, i) => this.film.lumen.depth[0] - 0.7 - (i / 39) * (this.film.lumen.depth[0] - 0.7 - upper));
    const edge = (side) => "M" + depths.map((d) => `${this.x + side * (this.half(d) + this.wall(d)) * this.across} ${this.y(d)}`).join("L");
    this.fill = make("path", { fill: `url(#${prefix}-axis)`, stroke: "var(--cw-cone-edge)", "stroke-width": 0.25 });
    this.front = make("path", { fill: "none", stroke: "var(--cw-front-edge)", "stroke-width": 0.55, "stroke-linejoin": "round" });
    this.surface = make("path", { d: edge(-1) + edge(1), fill: "none", stroke: `url(#${prefix}-surface)`, "stroke-width": 1.5 });
    this.tools = Object.fromEntries(["carrier", "plugger"].map((kind) => [kind, make("path", {
      fill: `var(--cw-${kind}-fill)`, stroke: `var(--cw-${kind}-edge)`, "stroke-width": 0.35, "stroke-linejoin": "round" })]));
    this.line = make("path", { stroke: "var(--ink)", "stroke-width": 0.25, "stroke-dasharray": "1.2 0.8" });
    this.labels = Object.fromEntries(["carrier", "plugger", "front", "top"].map((name) => [name, this.write("", 0, 0)]));
    const lumen = svg.querySelector(".cw-lumen");
    lumen.before(this.surface);
    lumen.after(this.fill, this.front);
    this.branches = this.film.portals.map((_, i) => this.branch(`${prefix}-portal-${i + 1}`)).filter(Boolean);
    svg.append(this.tools.carrier, this.tools.plugger, this.line, ...Object.values(this.labels));
    this.panels();
  }

  gradient(id, name) {
    const top = this.film.depth.at(-1), bottom = this.film.depth[0];
    const stops = Array.from({ length: STOPS }, (_, i) => make("stop", { offset: i / (STOPS - 1) }));
    const element = make("linearGradient", { id, gradientUnits: "userSpaceOnUse", x1: 0, x2: 0, y1: this.y(top), y2: this.y(bottom) }, ...stops);
    return { element, stops, name, depths: stops.map((_, i) => top + (i / (STOPS - 1)) * (bottom - top)) };
  }

  branch(id) {
    const line = this.svg.getElementById(id)?.querySelector("path:last-child");
    if (!line) return null;
    const [sealer, gutta] = ["var(--cw-backfill-fill)", "var(--cw-cone-fill)"].map((stroke) => {
      const part = make("path", { d: line.getAttribute("d"), stroke, "stroke-width": line.getAttribute("stroke-width"), fill: "none", pathLength: 1 });
      line.parentNode.append(part);
      return part;
    });
    return { sealer, gutta };
  }

  write(text, x, y, attributes = {}) {
    return make("text", { x, y, "font-size": 3.4, fill: "var(--ink)", ...attributes }, text);
  }

  // Temperature by depth, beside the section and on its ruler: on the axis, and at the root surface with its limit.
  panels() {
    const { film, svg } = this, box = svg.viewBox.baseVal, first = Math.max(box.width, this.x + 30) + 4;
    this.charts = [["axis", 30, 230, [37, 100, 200]], ["surface", 34, 54, [37, 42, 47, 52]]].map(([name, cool, hot, shown], i) => {
      const left = first + i * (PANEL + GAP), x = (t) => left + ((Math.min(Math.max(t, cool), hot) - cool) / (hot - cool)) * PANEL;
      const [high, low] = [this.y(Math.max(this.top, film.depth.at(-1))), this.y(this.bottom)].sort((a, b) => a - b);
      const group = make("g", { class: "profile" });
      group.append(make("rect", { x: left, y: high, width: PANEL, height: low - high, fill: "none", stroke: "var(--cw-hairline)", "stroke-width": 0.3 }));
      for (const t of shown) {
        group.append(make("path", { d: `M${x(t)} ${high}V${low}`, stroke: "var(--cw-hairline)", "stroke-width": 0.2 }));
        group.append(this.write(t, x(t), low + 5.2, { "text-anchor": "middle", "font-size": 3, fill: "var(--cw-muted)" }));
      }
      if (name === "surface") group.append(make("path", { d: `M${x(film.start + 10)} ${high}V${low}`, stroke: "var(--danger)", "stroke-width": 0.4, "stroke-dasharray": "2 1" }));
      const words = document.querySelector("[data-panel-axis]")?.dataset[name === "axis" ? "panelAxis" : "panelSurface"] ?? name;
      const wide = PANEL / 32;
      for (let k = 0; k < 32; k++) {
        const fill = colour(film.scales[name], cool + ((k + 0.5) / 32) * (hot - cool));
        group.append(make("rect", { x: left + k * wide, y: low, width: wide + 0.05, height: 1.4, fill }));
      }
      group.append(this.write(words, left, high - 2, { "font-size": 3.2, fill: "var(--cw-muted)" }));
      const curve = make("path", { fill: "none", stroke: name === "axis" ? "var(--cw-carrier-edge)" : "var(--accent)", "stroke-width": 0.7, "stroke-linejoin": "round" });
      group.append(curve);
      svg.append(group);
      return { name, x, curve, right: left + PANEL };
    });
    svg.setAttribute("viewBox", `0 0 ${this.charts[1].right + 4} ${box.height}`);
    svg.removeAttribute("width"); svg.removeAttribute("height");
  }

  // Show a moment; `cursor` is a depth.
  draw(time, cursor) {
    const { film } = this, top = film.at("top", time), front = film.at("front", time), act = film.acts[film.act(time)];
    const rows = { axis: film.profile("axis", time), surface: film.profile("surface", time) };
    for (const { stops, depths, name } of this.gradients) {
      stops.forEach((stop, i) => stop.setAttribute("stop-color", colour(film.scales[name], film.value(rows[name], depths[i]))));
    }
    this.fill.setAttribute("d", this.column(Math.max(top, this.top), Math.min(film.floor, film.lumen.depth[0])));
    const soft = front > top + 0.05;
    this.front.setAttribute("d", soft ? this.wave(front) : "");
    this.tool("carrier", film.at("carrier", time), this.carrier(time));
    this.tool("plugger", film.at("plugger", time), act.kind === "press" ? act.profile : this.lastPlugger(time));
    const temperature = film.at("carrier_temperature", time);
    const right = this.x + (this.half(top) + this.wall(top)) * this.across + 3;
    const told = {
      carrier: [film.at("carrier", time), temperature === null ? "" : `${temperature.toFixed(0)} °C`],
      plugger: [film.at("plugger", time), (d) => d.toFixed(1)],
      front: [soft ? front : null, (d) => `≈ ${d.toFixed(1)}`],
      top: [top >= this.top ? top : null, (d) => d.toFixed(1)],
    };
    const taken = [];
    for (const [name, [depth, words]] of Object.entries(told)) {
      const label = this.labels[name], shown = depth !== null && depth >= this.top;
      label.textContent = shown ? (typeof words === "function" ? words(depth) : words) : "";
      if (!shown) continue;
      let y = this.y(depth) + 1.2;
      while (taken.some((other) => Math.abs(other - y) < 3.8)) y += this.way * 3.8;
      taken.push(y);
      label.setAttribute("x", right); label.setAttribute("y", y);
      label.setAttribute("fill", name === "front" ? "var(--cw-front-edge)" : name === "top" ? "var(--cw-muted)" : `var(--cw-${name}-edge)`);
    }
    this.line.setAttribute("d", `M${this.x - 22} ${this.y(cursor)}H${this.charts[1].right}`);
    for (const { name, x, curve } of this.charts) {
      const points = film.depth.map((d, i) => (d >= this.top && Number.isFinite(rows[name][i]) ? `${x(rows[name][i]).toFixed(2)} ${this.y(d).toFixed(2)}` : null)).filter(Boolean);
      curve.setAttribute("d", "M" + points.join("L"));
    }
    this.branches.forEach(({ sealer, gutta }, i) => {
      const portal = film.portals[i], [a] = film.frame(time);
      for (const [part, mm] of [[sealer, portal.sealer[a]], [gutta, portal.gutta[a]]]) {
        part.setAttribute("stroke-dasharray", `${Math.min((mm ?? 0) / portal.length, 1)} 2`);
      }
    });
    return rows;
  }

  column(top, floor) {
    if (floor - top < 0.05) return "";
    const count = 44, right = [], left = [];
    for (let i = 0; i <= count; i++) {
      const d = top + (i / count) * (floor - top), wide = this.half(d) * this.across, y = this.y(d).toFixed(2);
      right.push(`${(this.x + wide).toFixed(2)} ${y}`); left.unshift(`${(this.x - wide).toFixed(2)} ${y}`);
    }
    return `M${right.join("L")}L${left.join("L")}Z`;
  }

  wave(depth) {
    const wide = this.half(depth) * this.across + 1.2, y = this.y(depth), steps = 6;
    return "M" + Array.from({ length: steps + 1 }, (_, i) => `${this.x - wide + (2 * wide * i) / steps} ${y + (i % 2 ? 0.6 : -0.6)}`).join("L");
  }

  tool(kind, tip, profile) {
    const path = this.tools[kind];
    if (tip === null || !profile) return path.setAttribute("d", "");
    const rows = profile.filter(([at]) => tip - at > this.top), last = Math.max(tip - this.top, 0);
    const at = [...rows.map(([a]) => a), last], wide = at.map((a) => (between(profile.map((r) => r[0]), profile.map((r) => r[1]), a) / 2) * this.across);
    const side = (sign) => at.map((a, i) => `${(this.x + sign * wide[i]).toFixed(2)} ${this.y(tip - a).toFixed(2)}`);
    path.setAttribute("d", `M${side(1).join("L")}L${side(-1).reverse().join("L")}Z`);
  }

  carrier(time) { return this.lately("heat", time); }
  lastPlugger(time) { return this.lately("press", time); }
  lately(kind, time) {
    const acts = this.film.acts.filter((a) => a.kind === kind && a.profile);
    return (acts.filter((a) => a.start <= time + 1e-6).at(-1) ?? acts[0])?.profile;
  }
}
