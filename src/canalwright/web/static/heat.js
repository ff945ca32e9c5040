// Heat in three dimensions: start a run, watch it, give it up; then play its sections and its unrolled surface.

const $ = (id) => document.getElementById(id);
const ANCHORS = [[13, 8, 65], [70, 20, 110], [135, 35, 105], [195, 60, 75], [235, 110, 40], [250, 175, 50], [250, 245, 180]];
const SECTION = [35, 90], NOW = [36, 48], LINE = [150, 200, 200], LIMIT = 47;
const RANGES = { now: NOW, rise: [0, 12], above_47: [0, 60], cem43: [0, 16] };
const NAMES = { now: "now", rise: "rise", above_47: "above", cem43: "cem" };
let film = null, frame = 0, playing = false, place = null, turn = 0; // a run begun or given up is a new turn: answers from before it are late

function colour(value, [low, high]) {
  const at = Math.min(Math.max((value - low) / (high - low), 0), 1) * (ANCHORS.length - 1);
  const i = Math.min(Math.floor(at), ANCHORS.length - 2), part = at - i;
  return ANCHORS[i].map((c, k) => c + part * (ANCHORS[i + 1][k] - c));
}

const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));

function paint(canvas, width, height, of) {
  Object.assign(canvas, { width, height });
  const context = canvas.getContext("2d"), image = context.createImageData(width, height);
  for (let k = 0; k < width * height; k++) {
    const [r, g, b] = of(k);
    image.data.set([r, g, b, 255], 4 * k);
  }
  context.putImageData(image, 0, 0);
}

function scale(id, range) {
  paint($(id), 120, 10, (k) => colour(range[0] + (range[1] - range[0]) * (k % 120) / 119, range));
  $(`${id}-low`).textContent = range[0];
  $(`${id}-high`).textContent = range[1];
}

const value = (field, band, sector) => {
  const k = band * film.bands[1] + sector;
  return field === "now" ? film.surface[frame * film.bands[0] * film.bands[1] + k] / 10 + 32 : film.fields[field][k];
};

function draw() {
  if (!film) return;
  film.sections.forEach((section, i) => {
    const [height, width] = section.shape, first = frame * width * height;
    paint($(`section-${"ab"[i]}`), width, height,
      (k) => section.lines[k] ? LINE : colour(section.frames[first + k] / 2 + 20, SECTION));
  });
  const field = $("field").value, [bands, sectors] = film.bands, range = RANGES[field];
  paint($("map"), sectors, bands, (k) => {
    const v = value(field, bands - 1 - Math.floor(k / sectors), k % sectors);
    return field === "now" && v >= LIMIT ? [0, 0, 0] : colour(v, range);
  });
  $("clock").textContent = film.time[frame].toFixed(1);
  $("scrub").value = frame;
  $("act-now").textContent = film.acts[film.act[frame]] ?? "";
  tell();
}

function tell() {
  if (!film || !place) return;
  const data = $("heat-told").dataset, [band, sector] = place, [, sectors] = film.bands;
  const shown = Object.keys(NAMES).map((f) => `${data[NAMES[f]]} ${value(f, band, sector).toFixed(f === "cem43" ? 2 : 1)}`);
  $("at").textContent = `${((band + 0.5) * film.band).toFixed(1)} ${data.level}, ${Math.round((sector + 0.5) * 360 / sectors)}°: ${shown.join("; ")}`;
}

function seen(answer) {
  film = answer;
  film.surface = bytes(film.surface);
  for (const s of film.sections) Object.assign(s, { frames: bytes(s.frames), lines: bytes(s.lines) });
  Object.assign($("scrub"), { max: film.time.length - 1, disabled: false });
  $("play").disabled = false;
  for (const [id, kind] of [["gif", "gif"], ["apng", "png"]]) Object.assign($(id), { href: address(`film.${kind}`), hidden: false });
  scale("scale-section", SECTION);
  choose();
  document.documentElement.dataset.heat = "film";
}

function choose() {
  const field = $("field").value;
  scale("scale-map", RANGES[field]);
  $("scale-map-name").textContent = $("field").selectedOptions[0].textContent;
  draw();
}

function stop() { playing = false; $("play").textContent = $("play").dataset.play; }

function toggle() {
  if (playing) return stop();
  if (frame >= film.time.length - 1) frame = 0;
  playing = true;
  $("play").textContent = $("play").dataset.pause;
  const turn = () => {
    if (!playing) return;
    draw();
    if (frame >= film.time.length - 1) return stop();
    frame += 1;
    setTimeout(turn, 150);
  };
  turn();
}

const base = () => location.pathname.replace(/heat$/, "heat/");
const address = (name) => `${base()}${name}?${$("heat-told").dataset.query}`;

async function results(mine) {
  const answer = await fetch(address("results.html")), told = answer.ok ? await answer.text() : "";
  if (told && mine === turn) $("heat-told").innerHTML = told;
}

async function ask(name, options) {
  try {
    const answer = await fetch(address(name), options), told = await answer.json();
    return answer.ok ? told : { state: "fault", fault: (told.problems ?? [""]).join(" ") };
  } catch { return { state: "lost" }; }
}

async function watch(mine, told) {
  const state = told ?? await ask("state.json");
  if (mine !== turn) return;
  if (state.state === "lost") {
    $("doing").textContent = $("heat-told").dataset.lost;
    return setTimeout(watch, 2000, mine);
  }
  const running = state.state === "running";
  $("share").value = state.share ?? 0;
  $("doing").textContent = running ? `${state.doing} ${Math.round(100 * state.share)} %`
    : state.state === "done" ? $("heat-told").dataset.done : state.fault ?? "";
  Object.assign($("give-up"), { disabled: !running });
  Object.assign($("run"), { disabled: running });
  if (state.film && !film) {
    const answer = await fetch(address("film.json"));
    const made = answer.ok ? await answer.json() : null;
    if (mine !== turn) return;
    if (made) seen(made);
  }
  if (state.state === "done") {
    await results(mine);
    if (mine === turn) document.documentElement.dataset.heat = "done";
  }
  if (running) setTimeout(watch, 400, mine);
}

async function run() {
  const mine = ++turn;
  film = null;
  delete document.documentElement.dataset.heat;
  $("run").disabled = true;
  $("give-up").disabled = false;
  $("doing").textContent = $("heat-told").dataset.planning;
  watch(mine, await ask("run", { method: "POST" }));
}

async function giveUp() {
  const mine = turn;
  if ((await ask("give-up", { method: "POST" })).state === "lost") {
    $("doing").textContent = $("heat-told").dataset.lost;
    return;
  }
  if (mine !== turn) return;
  turn += 1;
  $("share").value = 0;
  $("run").disabled = false;
  $("give-up").disabled = true;
  $("doing").textContent = $("heat-told").dataset.none;
  document.documentElement.dataset.heat = "given-up";
}

function point(event) {
  if (!film) return;
  const box = $("map").getBoundingClientRect(), [bands, sectors] = film.bands;
  const inside = (v, n) => Math.min(Math.max(Math.floor(v * n), 0), n - 1);
  place = [inside(1 - (event.clientY - box.top) / box.height, bands), inside((event.clientX - box.left) / box.width, sectors)];
  tell();
}

function step(event) {
  const way = { ArrowUp: [1, 0], ArrowDown: [-1, 0], ArrowRight: [0, 1], ArrowLeft: [0, -1] }[event.key];
  if (!way || !film) return;
  event.preventDefault();
  const [bands, sectors] = film.bands, [band, sector] = place ?? [Math.floor(bands / 2), 0];
  place = [Math.min(Math.max(band + way[0], 0), bands - 1), (sector + way[1] + sectors) % sectors];
  tell();
}

function begin() {
  $("run").addEventListener("click", run);
  $("give-up").addEventListener("click", giveUp);
  $("play").addEventListener("click", toggle);
  $("field").addEventListener("change", choose);
  $("scrub").addEventListener("input", (event) => { stop(); frame = Number(event.target.value); draw(); });
  $("map").addEventListener("pointermove", point);
  $("map").addEventListener("keydown", step);
  watch(turn);
}

const wait = setInterval(() => { if ($("heat-told") && $("run")) { clearInterval(wait); begin(); } }, 60);
