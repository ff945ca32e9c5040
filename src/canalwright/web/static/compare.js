// Two films on one clock.

import { Film } from "./film.js";
import { Stage } from "./stage.js";

const $ = (id) => document.getElementById(id);

async function begin() {
  const box = $("both"), base = location.pathname.replace(/compare$/, "film.json");
  const films = await Promise.all([box.dataset.a, box.dataset.b].map(async (query) => {
    const answer = await fetch(`${base}?${query}`);
    return answer.ok ? new Film(await answer.json()) : null;
  }));
  if (films.includes(null)) return;
  const wait = setInterval(() => {
    const pictures = ["A", "B"].map((side) => document.querySelector(`.stage-${side} svg.cw-section`));
    if (pictures.includes(null)) return;
    clearInterval(wait);
    play(films.map((film, i) => ({ film, stage: new Stage(pictures[i], film), act: $(`act-${"ab"[i]}`) })));
  }, 60);
}

function play(sides) {
  const whole = Math.max(...sides.map((s) => s.film.seconds));
  let time = 0, playing = false, before = 0;
  Object.assign($("scrub"), { max: whole, disabled: false });
  $("play").disabled = false;
  const draw = () => {
    $("clock").textContent = time.toFixed(1);
    $("scrub").value = time;
    for (const { film, stage, act } of sides) {
      const at = Math.min(time, film.seconds), depth = film.depth[Math.floor(film.depth.length / 2)];
      stage.draw(at, depth);
      act.textContent = film.acts[film.act(at)].words;
    }
  };
  const turn = (now) => {
    if (!playing) return;
    time = Math.min(time + ((now - before) / 1000) * 2, whole);
    before = now;
    draw();
    if (time >= whole) stop(); else requestAnimationFrame(turn);
  };
  const stop = () => { playing = false; $("play").textContent = $("play").dataset.play; };
  const toggle = () => {
    if (playing) return stop();
    if (time >= whole) time = 0;
    playing = true;
    $("play").textContent = $("play").dataset.pause;
    before = performance.now();
    requestAnimationFrame(turn);
  };
  $("play").addEventListener("click", toggle);
  $("scrub").addEventListener("input", (event) => { stop(); time = Number(event.target.value); draw(); });
  document.addEventListener("keydown", (event) => {
    if (event.target.closest?.("input, select, button, summary, a") || event.key !== " ") return;
    event.preventDefault();
    toggle();
  });
  draw();
  document.documentElement.dataset.player = "ready";
}

const wait = setInterval(() => { if ($("both")) { clearInterval(wait); begin(); } }, 60);
