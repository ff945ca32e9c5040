// A canal of a case in three dimensions: root, shaped canal, filling, instruments at their depth, temperature over time: by level, from the
// round model, or by level and direction, from a run in three dimensions where there is one.

import { Film, colour } from "./film.js";
import { Solid } from "./solid.js";
import { Line, along, tube } from "./tube.js";
import { Round } from "./round.js";

const $ = (id) => document.getElementById(id);
const SIZES = [[400, 128], [150, 56], [80, 28], [44, 16]], STOPS = 96, ABOVE = 6; // rings and corners of the bodies; stops of colour; mm of an instrument above the orifice

class Stage {
  async open(host, told) {
    this.words = JSON.parse(host.dataset.words); this.told = told; this.time = 0;
    this.chosen = told.canals.find((c) => c.chosen);
    this.solid = await Solid.make(host, this.words);
    if (told.upper) this.solid.flip = true;
    const bodies = told.canals.flatMap((canal, i) => {
      const line = new Line(canal.z, canal.centre, canal.axis), half = (part) => [along(canal.z, canal[part].along), along(canal.z, canal[part].across)], top = canal.z.at(-1);
      const made = (part, low) => SIZES.map(([rings, around]) => tube(line, low, top, ...half(part), rings, around));
      if (canal.chosen) this.line = line;
      const own = canal.chosen ? ["root", "lumen"] : [`root ${i}`, `lumen ${i}`];
      return [
        { name: own[1], words: canal.chosen ? this.words.lumen : canal.name, colour: canal.chosen ? "#3aa79f" : "#8a8f98", opacity: canal.chosen ? 0.5 : 0.9, levels: made("lumen", canal.z[0]) },
        { name: own[0], words: canal.chosen ? this.words.root : "", colour: "#dccfb2", opacity: 0.5, levels: made("root", canal.z[0]) },
      ];
    });
    const empty = { positions: new Float32Array(9), normals: new Float32Array(9), index: new Uint32Array([0, 1, 2]) };
    for (const [name, tint] of [["filling", "#e5d3c0"], ["plugger", "#c3cad4"], ["carrier", "#e08a3c"]]) bodies.push({ name, words: this.words[name], colour: tint, opacity: 1, levels: [empty], frames: false, away: true });
    this.solid.set(bodies);
    this.halves = [along(this.chosen.z, this.chosen.lumen.along), along(this.chosen.z, this.chosen.lumen.across)];
    for (const box of document.querySelectorAll("input[name=look]")) box.addEventListener("change", () => this.look());
    document.documentElement.dataset.solid = "ready";
    window.canalwright = Object.assign(window.canalwright ?? {}, { solid: this });
  }

  // Like glass, whole, or cut along the plane of the line.
  look() {
    const kind = document.querySelector("input[name=look]:checked").value, { one, place } = this.line.at(this.chosen.z.at(-1) / 2), away = one.map((v) => -v);
    const cut = kind === "open" ? [...away, away.reduce((sum, v, k) => sum + v * place[k], 0)] : null;
    this.solid.opacity("root", kind === "glass" ? 0.5 : 1, cut);
    this.solid.opacity("lumen", kind === "open" ? 1 : 0.5, cut);
  }

  // The film is there: time, colours, instruments.
  play(film) {
    this.film = film;
    Object.assign($("scrub"), { max: film.seconds, step: 0.1, disabled: false }); $("play").disabled = false; $("whole").textContent = film.seconds.toFixed(0);
    for (const name of ["surface", "axis"]) {
      const scale = film.scales[name], box = $(`scale-${name}`), context = box.querySelector("canvas").getContext("2d"), top = scale.shown.at(-1), cool = scale.shown[0];
      for (let i = 0; i < 256; i++) { context.fillStyle = colour(scale, cool + (i / 255) * (top - cool)); context.fillRect(i, 0, 1, 1); }
      box.querySelector(".ticks").replaceChildren(...scale.shown.map((t) => Object.assign(document.createElement("i"), { textContent: t, style: `left:${(100 * (t - cool)) / (top - cool)}%` })));
    }
    $("scrub").addEventListener("input", () => { this.pause(); this.seek(Number($("scrub").value)); });
    $("play").addEventListener("click", () => (this.playing ? this.pause() : this.start()));
    for (const box of document.querySelectorAll("input[name=model]")) box.addEventListener("change", () => this.model(box.value));
    this.offer();
    this.seek(this.hottest());
    document.documentElement.dataset.solid = "playing";
  }

  // A run in three dimensions is there.
  turned(run) {
    this.round = new Round(run, this.line, this.chosen);
    const box = document.querySelector("input[name=model][value=direction]");
    box.disabled = false; box.checked = true; $("to-heat").hidden = true;
    if (run.rise) $("rise").textContent = this.words.rise.replace("{value}", run.rise[0].toFixed(1)).replace("{low}", run.rise[1].toFixed(1)).replace("{high}", run.rise[2].toFixed(1));
    this.model("direction");
  }

  model(kind) {
    this.by = kind;
    for (const text of document.querySelectorAll("[data-model]")) text.hidden = text.dataset.model !== kind;
    document.documentElement.dataset.model = kind;
    this.seek(this.time);
  }

  // Instruments at their stops, once the plan has told them; `over time` gives them back to the film.
  offer() {
    const tools = window.canalwright.tools, select = $("tool");
    if (!tools) return setTimeout(() => this.offer(), 200);
    select.append(...tools.map((tool, i) => Object.assign(document.createElement("option"), { value: i, textContent: tool.words })));
    select.addEventListener("change", () => { this.fixed = select.value === "" ? null : tools[select.value]; this.seek(this.time); });
  }

  hottest() {
    const { film } = this, map = film.surface;
    let most = -Infinity, at = 0;
    for (let i = 0; i < map.values.length; i++) if (map.values[i] > most) { most = map.values[i]; at = i; }
    return film.time[Math.floor(at / map.wide)];
  }

  start() {
    if (this.time >= this.film.seconds - 0.05) this.seek(0);
    this.playing = true; $("play").textContent = this.words.pause;
    let before = performance.now();
    const turn = (now) => {
      if (!this.playing) return;
      this.seek(Math.min(this.time + ((now - before) / 1000) * Number($("speed").value), this.film.seconds)); before = now;
      this.solid.moved();
      if (this.time >= this.film.seconds) this.pause(); else requestAnimationFrame(turn);
    };
    requestAnimationFrame(turn);
  }

  pause() { this.playing = false; $("play").textContent = this.words.play; }

  seek(time) {
    const { film, told, solid } = this, z = (depth) => told.length - depth, low = this.chosen.z[0], top = this.chosen.z.at(-1);
    this.time = Math.min(Math.max(time, 0), film.seconds);
    const rows = { surface: film.profile("surface", this.time), axis: film.profile("axis", this.time) };
    const stops = (name, from, to) => Array.from({ length: STOPS }, (_, i) => colour(film.scales[name], film.value(rows[name], told.length - (from + (i / (STOPS - 1)) * (to - from)))));
    const round = this.by === "direction" ? this.round : null, around = round?.at(this.time);
    if (round) solid.paint("root", round.colours(around, film.scales.surface, low, top, STOPS), round.sectors);
    else solid.paint("root", stops("surface", low, top));
    const floor = Math.max(z(film.floor), low), fill = Math.min(z(film.at("top", this.time)), top);
    if (fill - floor > 0.1) { solid.reshape("filling", tube(this.line, floor, fill, (s) => 0.96 * this.halves[0](s), (s) => 0.96 * this.halves[1](s), 48, 24)); solid.paint("filling", stops("axis", floor, fill)); } else solid.reshape("filling", null);
    const act = film.acts[film.act(this.time)];
    for (const kind of ["plugger", "carrier"]) {
      if (this.fixed) solid.reshape(kind, this.fixed.kind === kind ? this.tool(this.fixed.depth, this.fixed.profile) : null);
      else solid.reshape(kind, this.tool(film.at(kind, this.time), this.profile(kind, act)));
    }
    $("clock").textContent = this.time.toFixed(1); $("act-now").textContent = act.words;
    if (document.activeElement !== $("scrub") || this.playing) $("scrub").value = this.time;
    $("scrub").setAttribute("aria-valuetext", `${this.time.toFixed(1)} s, ${act.words}`);
    if (round) {
      const { value, level, angle } = round.warmest(around);
      $("warmest").textContent = this.words.warmest_way.replace("{value}", value.toFixed(1)).replace("{mm}", z(level).toFixed(1)).replace("{angle}", angle.toFixed(0));
      return;
    }
    let most = 0;
    rows.surface.forEach((value, i) => { if (value > rows.surface[most]) most = i; });
    $("warmest").textContent = this.words.warmest.replace("{value}", rows.surface[most].toFixed(1)).replace("{mm}", film.depth[most].toFixed(1));
  }

  profile(kind, act) {
    const wanted = { plugger: "press", carrier: "heat" }[kind];
    if (act.kind === wanted && act.profile) return act.profile;
    const acts = this.film.acts.filter((a) => a.kind === wanted && a.profile);
    return (acts.filter((a) => a.start <= this.time + 1e-6).at(-1) ?? acts[0])?.profile;
  }

  tool(tip, profile) {
    if (tip === null || !profile) return null;
    const low = this.told.length - tip, high = Math.max(this.chosen.z.at(-1), low) + ABOVE, half = along(profile.map((r) => r[0]), profile.map((r) => r[1] / 2)), width = (z) => half(z - low);
    return tube(this.line, low, high, width, width, 40, 24);
  }
}

async function begin() {
  const base = location.pathname.replace(/solid$/, ""), shapes = fetch(`${base}solid.json`).then((a) => a.json());
  const host = await new Promise((good) => { const wait = setInterval(() => { const found = $("solid"); if (found) { clearInterval(wait); good(found); } }, 50); });
  const stage = new Stage();
  await stage.open(host, await shapes);
  const film = await fetch(`${base}film.json${location.search}`);
  if (film.ok) {
    stage.play(new Film(await film.json()));
    const there = await (await fetch(`${base}heat/there.json${location.search}`)).json();
    if (there.film) stage.turned({ ...(await (await fetch(`${base}heat/film.json${location.search}`)).json()), rise: there.rise });
  } else $("act-now").textContent = ((await film.json()).problems ?? []).join(" ");
}

begin();
