// Chair mode. The server's book is the truth; this screen counts the time, sounds, and tells each key once, in order, until it was heard.

import { say, tone, wake } from "./sounds.js";

const $ = (id) => document.getElementById(id);
const path = location.pathname.replace(/\/$/, ""), kept = `cw_chair${path}`;
const WARN = 0.5, POLL = 2000, SOON = 250;
let state = null, queue = restored(), busy = false, looking = false, lost = false, why = "", sounded = new Set(), pictured = -1, ended = "", lines = "", touched = false, asked = null, heard = 0; // answers taken in

const text = (name) => $("ch").dataset[`t${name.split("_").map((p) => p[0].toUpperCase() + p.slice(1)).join("")}`];
const unbroken = (words) => words.replaceAll("–", "\u2060–\u2060").replace(/(\d) (mm|%|°C|K\b|s\b)/g, "$1\u00a0$2"); // a number stays on one line
const now = () => Date.now() / 1000;
const elapsed = () => state.before + (state.since === null ? 0 : Math.max(now() - state.since, 0));

function restored() { try { return JSON.parse(localStorage.getItem(kept) ?? "[]"); } catch { return []; } }
function keep() { try { localStorage.setItem(kept, JSON.stringify(queue)); } catch { /* a browser that keeps nothing */ } }

function tell(kind, more = {}) {
  wake();
  queue.push({ kind, moment: now(), ...more });
  keep();
  flush();
}

// The person was erased: nothing is told any more, and the page loaded anew says so.
function erased() {
  try { localStorage.removeItem(kept); } catch { /* as above */ }
  location.reload();
}

async function flush() {
  if (busy) return;
  busy = true;
  try {
    while (queue.length) {
      const answer = await fetch(`${path}/events`, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(queue[0]) });
      if (answer.status === 410) return erased();
      if (!answer.ok) { if (answer.status === 422) { queue.shift(); keep(); continue; } throw Object.assign(new Error(String(answer.status)), await answer.json()); }
      const told = await answer.json();
      queue.shift();
      keep();
      heard += 1;
      take(told);
    }
    lost = false;
  } catch (error) { lost = true; why = error.problems?.[0] ?? ""; setTimeout(flush, 1500); }
  busy = false;
}

async function look() {
  if (queue.length) return flush(); // its answer is the state too
  if (looking) return;
  looking = true;
  const before = heard;
  try {
    const answer = await fetch(`${path}/state.json`), told = answer.ok ? await answer.json() : null;
    if (answer.status === 410) return erased();
    if (told && !queue.length && heard === before) take(told); // else it may be older than what was pressed meanwhile
    lost = !answer.ok; why = "";
  } catch { lost = true; why = ""; }
  looking = false;
}

function take(told) {
  const moved = !state || told.index !== state.index || told.phase !== state.phase;
  state = told;
  if (working()) setTimeout(look, SOON);
  if (moved) { sounded = new Set(); if (state.phase !== "done") $("where").close(); announce(); }
  show();
}

// What was done last is not reckoned with yet: no number stands for it meanwhile.
function working() { return state.rise.value === null && !state.rise.unknown; }

function announce() {
  const { step, phase } = state;
  if (!step) return say(text("finished"));
  if (phase === "ready") say(`${step.words}. ${step.tool} ${step.cut ? `${step.cut}. ` : ""}${step.depth === null ? "" : step.depth.toFixed(1)}`);
}

function show() {
  const { step } = state, finished = state.phase === "done";
  $("ch-tooth").textContent = state.tooth;
  $("ch-canal").textContent = state.canal;
  $("ch-leave").href = state.case;
  $("ch-count").textContent = finished ? text("finished") : `${state.index + 1} ${text("of")} ${state.total}`;
  $("ch-progress").style.setProperty("--share", state.index / state.total);
  const rise = working() ? text("working") : state.rise.unknown ? text("unknown") : kelvin(state.rise);
  $("ch-rise").textContent = `${text("rise")} ${rise}, ${text("limit")}`;
  $("ch-rise").classList.toggle("bad", state.rise.unknown || state.rise.value >= state.rise.limit);
  $("ch-older").hidden = !state.older;
  $("ch-step").hidden = finished;
  $("ch-end").hidden = !finished;
  $("ch").dataset.phase = state.phase;
  $("ch").dataset.kind = step?.kind ?? "";
  $("ch-pause").disabled = !["running", "paused"].includes(state.phase);
  $("ch-event").disabled = $("ch-go").disabled = finished;
  $("ch-go").textContent = state.phase === "running" ? text("started") : state.phase === "paused" ? text("resume") : step?.seconds ? text("start") : text("go");
  if (step) {
    $("ch-words").textContent = step.words;
    $("ch-tool").textContent = unbroken([step.tool, step.cut].filter(Boolean).join(" · ")) + (step.temperature ? " · " : "");
    $("ch-set").textContent = step.temperature ? unbroken(`${step.temperature.toFixed(0)} °C`) : "";
    $("ch-cut").textContent = unbroken(step.cut_between);
    $("ch-swatch").hidden = !step.colour;
    $("ch-swatch").style.background = step.colour ?? "";
    $("ch-swatch").title = step.colour_name;
    $("ch-depth-box").hidden = step.depth === null;
    $("ch-depth").textContent = step.depth === null ? "" : (state.noted_depth ?? step.depth).toFixed(1);
    $("ch-depth").classList.toggle("bad", step.danger);
    $("ch-interval").textContent = unbroken(`${step.read} ${state.reference}` + (step.low === null ? "" : `, ${text("interval")} ${step.low.toFixed(1)}–${step.high.toFixed(1)}`));
    $("ch-clock-box").hidden = step.seconds === null;
    $("ch-next-words").textContent = [state.next && text("next"), state.retimed && text("retimed")].filter(Boolean).join(" · ");
    $("ch-next-act").textContent = state.next + (state.next_depth && " · ");
    $("ch-next-depth").textContent = unbroken(state.next_depth);
  } else debrief();
  tellLines();
  fit();
  if ($("ch-tooth-now") && pictured !== state.index) { pictured = state.index; tooth(); }
  clock();
}

// What is to be known on this act; written anew only when it says something else, so that it is read out once.
function tellLines() {
  const told = JSON.stringify(state.lines);
  if (told === lines) return;
  lines = told;
  $("ch-lines").replaceChildren(...state.lines.map(({ harm, text: said, where }) => {
    const line = document.createElement("li");
    line.className = harm;
    const words = where ? Object.assign(document.createElement("button"), { type: "button", className: "ch-asks", title: $("ch-depth").title }) : line;
    if (where) { words.dataset.where = where; words.ariaHasPopup = "dialog"; line.append(words); }
    words.textContent = unbroken(said);
    return line;
  }));
}

// The case was edited meanwhile: the rest is planned anew, or this plan is kept; either is told by the server.
async function edited(button) {
  const wrong = $("ch-older-wrong"), way = button.id.replace("ch-", "");
  wrong.textContent = way === "replan" ? text("planning") : "";
  button.disabled = true;
  try {
    const answer = await fetch(`${path}/${way}`, { method: "POST" }), told = await answer.json();
    if (told.go) return location.assign(told.go);
    wrong.textContent = (told.problems ?? [""])[0];
    if (answer.ok) { heard += 1; take(told); $("ch-go").focus(); }
  } catch { wrong.textContent = text("lost"); }
  button.disabled = false;
}

async function tooth() {
  const mine = pictured, answer = await fetch(`${path}/tooth.svg`).catch(() => null), drawn = answer?.ok ? await answer.text() : "";
  if (mine !== pictured) return; // that of a later act is on its way, or there
  if (drawn) $("ch-tooth-now").innerHTML = drawn; else if (!answer) pictured = -1; // it is asked for again
}

const hot = () => state.step?.kind === "heat" && state.phase !== "ready"; // paused too: its timer has begun

// Seconds to wait before this heat, where no pause is left to be longer.
const waits = () => (state.phase === "ready" ? state.entered + state.wait - now() : 0);

function clock() {
  if (!state) return;
  const { step } = state;
  const warned = [];
  if (lost) warned.push(why || text("lost"));
  if (step?.seconds) {
    const left = step.seconds - elapsed(), running = state.phase === "running";
    const wait = waits();
    waiting(wait);
    $("ch-clock").textContent = wait > 0 ? Math.ceil(wait) : left >= 0 ? left.toFixed(step.seconds < 10 || !(running || Number.isInteger(step.seconds)) ? 1 : 0) : `+${(-left).toFixed(1)}`;
    $("ch-clock").classList.toggle("up", left <= 0 && running);
    $("ch-clock").classList.toggle("long", $("ch-clock").textContent.length > 5);
    const below = wait > 0 ? text("wait") : left <= 0 && running ? text("time_up") : text({ heat: "heat", press: "hold", pause: "cool" }[step.kind] ?? "wait");
    if ($("ch-clock-words").textContent !== below) { $("ch-clock-words").textContent = below; fit(); }
    if (running) sound(step, left);
    if (step.kind === "heat" && step.longest !== null && state.phase !== "ready") {
      const spare = step.longest - elapsed();
      if (spare <= 0) warned.push(text("over")); else if (spare <= WARN) warned.push(text("warn"));
    }
  }
  const words = unbroken(warned.join(" "));
  if ($("ch-warn").textContent !== words) { $("ch-warn").textContent = words; fit(); }
}

// All of an act without scrolling: step by step what matters less makes room (chair.css); where that is not enough, all is there and scrolls.
function fit() {
  const chair = $("ch"), levels = state?.phase === "done" ? [] : ["", "1", "2", "3", "4", "5", "6"];
  for (const level of [...levels, ""]) {
    chair.dataset.fit = level;
    if (document.documentElement.scrollHeight <= innerHeight) return;
  }
}

function once(name, make) { if (!sounded.has(name)) { sounded.add(name); make(); } }

// The wait before a heat is counted aloud like a timer, and its end is told.
function waiting(left) {
  const whole = Math.ceil(left);
  if (left > 0) {
    once("wait", () => { sounded.add(`wait${whole}`); say(`${text("wait")} ${whole}`); }); // it says the number that is due, too
    if (whole <= 3 || whole % 10 === 0) once(`wait${whole}`, () => say(String(whole)));
  } else if (sounded.has("wait") && state.phase === "ready") once("waited", () => tone(880, 0.5, 0.3));
}

function sound(step, left) {
  const whole = Math.ceil(left);
  if (left > 0) {
    once(`tick${Math.floor(elapsed())}`, () => tone(step.kind === "heat" ? 660 : 440, 0.06, 0.12));
    if (whole <= 3 && step.seconds > 3.5) once(`say${whole}`, () => say(String(whole)));
    else if (step.seconds >= 10 && whole % 10 === 0) once(`say${whole}`, () => say(String(whole)));
  } else once("up", () => { tone(880, 0.5, 0.3); if (step.kind === "heat") say(text("stop")); });
  if (step.kind === "heat" && step.longest !== null && elapsed() >= step.longest - WARN) once("warn", () => { tone(1320, 0.15, 0.35); setTimeout(() => tone(1320, 0.15, 0.35), 200); });
}

function kelvin(told) { return `${told.value.toFixed(1)} K (${told.low.toFixed(1)}–${told.high.toFixed(1)})`; }

// What was done beside the plan; drawn anew only when it says something else, so that a number keeps the focus.
function debrief() {
  if (ended === state.end) return;
  ended = state.end;
  $("ch-end").innerHTML = ended;
}

const KEYS = { " ": "go", Enter: "go", ArrowRight: "go", PageDown: "go", ArrowLeft: "back", Backspace: "back", PageUp: "back", p: "pause", P: "pause", e: "event", E: "event", f: "full", F: "full" };

// A pedal sends the keys of "go on" and no other. After a finger or a mouse they go on wherever the focus was left; who came to a button by
// keys presses that button with them.
document.addEventListener("pointerdown", () => { touched = true; }, true);
document.addEventListener("keydown", (event) => {
  const key = KEYS[event.key];
  if (key !== "go") touched = false;
  if ((document.querySelector("dialog[open]") && key !== "go") || event.ctrlKey || event.metaKey || event.altKey) return;
  const own = event.target.closest?.("button, a, input"), presses = event.key === "Enter" || event.key === " ";
  if (own?.id === "ch-real") { if (event.key === "Enter") { event.preventDefault(); noteDepth(); } return; }
  if (own && presses && own.id !== "ch-go" && (!touched || state?.phase === "done")) return;
  if (!key) return;
  event.preventDefault();
  if (!event.repeat) press(key); // a pedal that is held down is one press
});
document.addEventListener("click", (event) => {
  const button = event.target.closest?.(".ch button");
  if (!button || button.disabled) return;
  if (button.dataset.note) { tell("note", { text: button.dataset.note }); $("ch-happened").close(); }
  else if (button.id === "ch-note-depth") noteDepth();
  else if (button.dataset.deeper) { $("ch-real").value = (Number($("ch-real").value) + Number(button.dataset.deeper)).toFixed(1); ask(null); }
  else if (button.dataset.where) whereFrom(button);
  else if (button.id === "ch-replan" || button.id === "ch-keep") edited(button);
  else press({ "ch-go": "go", "ch-back": "back", "ch-pause": "pause", "ch-event": "event", "ch-full": "full" }[button.id]);
  if (touched) document.activeElement?.closest("button")?.blur();
});
document.addEventListener("close", () => { if (touched) document.activeElement?.closest("button")?.blur(); }, true);
document.addEventListener("input", (event) => { if (event.target.id === "ch-real") ask(null); });

// A depth that cannot be is asked about once; told again it is noted, and the act shows it as a danger.
function noteDepth() {
  const typed = $("ch-real").value, depth = Number(typed);
  if (typed === "" && $("ch-real").validity.valid) return $("ch-happened").close();
  if (!(depth >= 1 && depth <= 40)) return ask({ text: text("wrong_depth") }, false);
  const doubt = state?.step?.asked.find(({ over }) => depth > over);
  if (doubt && asked !== depth) return ask(doubt, depth);
  tell("depth", { depth });
  $("ch-happened").close();
}

function ask(doubt, depth = null) {
  asked = depth || null;
  $("ch-real-wrong").textContent = doubt ? unbroken(doubt.text) : "";
  $("ch-note-depth").textContent = asked ? text("sure") : text("note");
}

// Where a number is from. It lies over the act: the next press of the pedal, or the next act, takes it away. Nothing lies over a hot carrier.
async function whereFrom(button) {
  if (hot()) return;
  const { index } = state, what = button.id === "ch-clock" && waits() > 0 ? "wait" : button.dataset.where;
  const answer = await fetch(`${path}/where/${encodeURIComponent(what)}`).catch(() => null), told = answer?.ok ? (await answer.json()).told : "";
  if (told && state.index === index && !hot()) window.canalwright.where(told, button);
}

function press(key) {
  if (key === "event") { if (state?.step) { $("ch-real").value = (state.noted_depth ?? state.step.depth)?.toFixed(1) ?? ""; ask(null); $("ch-happened").showModal(); } }
  else if (key === "full") { if (document.fullscreenElement) document.exitFullscreen(); else document.documentElement.requestFullscreen?.(); }
  else if (key && state) act(key); // while it is being opened, what nobody has read yet is not passed over
}

function act(key) {
  if (key === "go") $("where").close(); // it lay over the act
  if (key === "go" && state.step?.kind === "try") tell("tried");
  else if (!(key === "go" && state.phase === "done")) tell(key);
}

const wait = setInterval(() => {
  if (!$("ch")) return;
  clearInterval(wait);
  window.addEventListener("resize", fit);
  look();
  setInterval(clock, 100);
  setInterval(look, POLL);
}, 60);
