// The player: one clock, the stage, the read-outs, the curves, the acts. All of it here, nothing asked of the server while it plays.

import { Film, between } from "./film.js";
import { Stage } from "./stage.js";
import { Curves } from "./curves.js";

const $ = (id) => document.getElementById(id);

class Player {
  constructor(film, svg) {
    this.film = film;
    this.stage = new Stage(svg, film);
    this.curves = new Curves($("curves"), film, (time) => this.seek(time));
    this.time = 0; this.playing = false; this.shownAct = -1;
    this.cursor = this.hottest();
    this.lay();
    this.listen();
    this.curves.lay(this.cursor);
    this.draw();
  }

  hottest() {
    const { film } = this;
    let most = -Infinity, found = 0;
    for (let t = 0; t < film.time.length; t += 4) {
      for (let i = 0; i < film.depth.length; i++) {
        const value = film.surface.values[t * film.surface.wide + i];
        if (value > most) { most = value; found = i; }
      }
    }
    return Math.round(film.depth[found] * 10) / 10;
  }

  lay() {
    const { film, stage } = this;
    $("whole").textContent = film.seconds.toFixed(0);
    Object.assign($("scrub"), { max: film.seconds, step: 0.1, disabled: false });
    const top = Math.max(stage.top, film.lumen.depth.at(-1));
    Object.assign($("depth"), { min: top.toFixed(1), max: film.lumen.depth[0].toFixed(1), step: 0.1, value: this.cursor, disabled: false });
    for (const id of ["back", "play", "next"]) $(id).disabled = false;
    let rounds = 0;
    $("lanes").replaceChildren(...film.acts.map((act) => {
      const lane = document.createElement("i");
      lane.className = act.kind;
      lane.style.left = `${(100 * act.start) / film.seconds}%`;
      lane.style.width = `${(100 * (act.end - act.start)) / film.seconds}%`;
      lane.title = act.words;
      if (act.kind === "heat" && act.profile && act.end - act.start > 1.2) lane.dataset.number = ++rounds;
      return lane;
    }));
    $("acts").replaceChildren(...film.acts.map((act, i) => {
      const item = document.createElement("li"), button = document.createElement("button");
      button.type = "button"; button.className = act.kind;
      button.append(Object.assign(document.createElement("span"), { className: "at", textContent: `${act.start.toFixed(1)} s` }),
        Object.assign(document.createElement("span"), { textContent: act.words }),
        Object.assign(document.createElement("span"), { className: "long", textContent: `${(act.end - act.start).toFixed(1)} s` }));
      button.addEventListener("click", () => this.seek(act.start));
      item.append(button);
      return item;
    }));
  }

  listen() {
    $("play").addEventListener("click", () => this.toggle());
    $("back").addEventListener("click", () => this.step(-1));
    $("next").addEventListener("click", () => this.step(1));
    $("scrub").addEventListener("input", (event) => { this.pause(); this.seek(Number(event.target.value)); });
    $("depth").addEventListener("input", (event) => this.point(Number(event.target.value)));
    document.addEventListener("keydown", (event) => this.key(event));
    const svg = this.stage.svg;
    const place = (event) => {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      this.point(this.stage.depth(point.y));
    };
    svg.addEventListener("pointerdown", (event) => { svg.setPointerCapture(event.pointerId); place(event); });
    svg.addEventListener("pointermove", (event) => { if (event.buttons) place(event); });
  }

  key(event) {
    const own = event.target.closest?.("input, select, button, summary, a, textarea, dialog");
    if (own && !(own.id === "scrub" && event.key === " ")) return;
    const moves = {
      " ": () => this.toggle(), Home: () => this.seek(0), End: () => this.seek(this.film.seconds),
      ArrowRight: () => (event.shiftKey ? this.step(1) : this.seek(this.time + 1)), ArrowLeft: () => (event.shiftKey ? this.step(-1) : this.seek(this.time - 1)),
      ArrowDown: () => this.point(this.cursor + this.stage.way * 0.1), ArrowUp: () => this.point(this.cursor - this.stage.way * 0.1),
    };
    if (!moves[event.key] || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    moves[event.key]();
  }

  toggle() { if (this.playing) this.pause(); else this.start(); }

  start() {
    if (this.time >= this.film.seconds - 0.05) this.seek(0);
    this.playing = true;
    this.label();
    let before = performance.now();
    const turn = (now) => {
      if (!this.playing) return;
      this.time = Math.min(this.time + ((now - before) / 1000) * Number($("speed").value), this.film.seconds);
      before = now;
      this.draw();
      if (this.time >= this.film.seconds) this.pause(); else requestAnimationFrame(turn);
    };
    requestAnimationFrame(turn);
  }

  pause() { this.playing = false; this.label(); }
  label() { $("play").textContent = this.playing ? $("play").dataset.pause : $("play").dataset.play; }
  seek(time) { this.time = Math.min(Math.max(time, 0), this.film.seconds); this.draw(); }

  step(way) {
    const { acts } = this.film, now = this.film.act(this.time), began = acts[now].start;
    const goal = way > 0 ? now + 1 : this.time - began > 0.5 ? now : now - 1;
    this.seek(goal >= acts.length ? this.film.seconds : acts[Math.max(goal, 0)].start + 1e-3);
  }

  point(depth) {
    this.cursor = Math.min(Math.max(Math.round(depth * 10) / 10, Number($("depth").min)), Number($("depth").max));
    $("depth").value = this.cursor;
    this.curves.lay(this.cursor);
    this.draw();
  }

  draw() {
    const { film, time, cursor } = this, rows = this.stage.draw(time, cursor), act = film.act(time);
    $("clock").textContent = time.toFixed(1);
    if (document.activeElement !== $("scrub") || this.playing) $("scrub").value = time;
    $("scrub").setAttribute("aria-valuetext", `${time.toFixed(1)} s, ${film.acts[act].words}`);
    $("o-depth").textContent = `${cursor.toFixed(1)} mm`;
    $("depth").setAttribute("aria-valuetext", `${cursor.toFixed(1)} mm`);
    this.curves.move(time);
    const surface = film.value(rows.surface, cursor), say = (id, value, digits, unit) => {
      const text = Number.isFinite(value) ? value.toFixed(digits).replace(/^-(0(\.0+)?)$/, "$1").replace("-", "−") : "";
      $(id).textContent = text ? `${text} ${unit}` : "–";
    };
    say("v-axis", film.value(rows.axis, cursor), 0, "°C");
    say("v-surface", surface, 1, "°C");
    say("v-rise", surface - film.start, 1, "K");
    say("v-pressure", film.value(film.profile("pressure", time), cursor), 2, "MPa");
    say("v-most", Math.max(...rows.surface), 1, "°C");
    for (const name of ["minor", "major", "wall"]) say(`v-${name}`, between(film.lumen.depth, film.lumen[name], cursor), 2, "mm");
    if (act !== this.shownAct) this.mark(act);
  }

  mark(act) {
    this.shownAct = act;
    $("act-now").textContent = this.film.acts[act].words;
    [...$("acts").querySelectorAll("button")].forEach((button, i) => {
      if (i === act) button.setAttribute("aria-current", "step"); else button.removeAttribute("aria-current");
    });
    if (this.playing) {
      $("told").textContent = this.film.acts[act].words;
      const list = $("acts"), item = list.children[act];
      list.scrollTo({ top: item.offsetTop - list.clientHeight / 3, behavior: "instant" });
    }
  }
}

async function begin() {
  const film = await fetch(location.pathname.replace(/play$/, "film.json") + location.search);
  if (!film.ok) return;
  const told = new Film(await film.json());
  const wait = setInterval(() => {
    const svg = document.querySelector(".stage svg.cw-section");
    if (!svg || !$("scrub")) return;
    clearInterval(wait);
    window.canalwright.player = new Player(told, svg);
    document.documentElement.dataset.player = "ready";
  }, 60);
}

begin();
