// What every page does in the browser: settings, links that keep the choices, controls, numbers that answer.

const REST = 50; // ms between two tellings of one control
const waiting = new Map();
let asked = null; // the number whose origin was asked for
let held = ""; // the number that had the focus before its table was drawn anew
const last = new Map(); // what each number said
let settled = true; // whether the last choice has been answered by a whole plan, or none was made
let before = new Map(); // what each control said when the hand began to choose anew
let made = 0; // choices so far
const newest = new Map(); // the number of each control's last choice

const send = (name, value) => window.emitEvent(name, value);

document.addEventListener("change", (event) => {
  const setting = event.target.dataset?.setting;
  if (setting) set(setting, event.target.value);
  if (event.target.matches?.("select[data-choice]")) choose(event.target.dataset.choice, event.target.value);
});

document.addEventListener("input", (event) => {
  const input = event.target;
  if (!input.matches?.("input[type=range][data-choice]")) return;
  tell(input);
  const key = input.dataset.choice;
  if (waiting.has(key)) return waiting.set(key, input.value);
  choose(key, Number(input.value));
  waiting.set(key, null);
  setTimeout(() => rested(key), REST);
});

// The first place of a moved control is told at once, later ones no more often than every REST.
function rested(key) {
  const value = waiting.get(key);
  if (value === null) return waiting.delete(key);
  choose(key, Number(value));
  waiting.set(key, null);
  setTimeout(() => rested(key), REST);
}

document.addEventListener("click", (event) => {
  const target = event.target.closest?.("a[data-carry], a[data-fetch], [data-give-back], [data-send], .num, dialog");
  if (!target) return closeSettings(event);
  if (target.matches("a[data-carry]")) target.href = target.pathname + location.search;
  if (target.matches("a[data-fetch]") && !event.ctrlKey && !event.metaKey && !event.shiftKey) fetched(event, target);
  else if (target.matches("a[data-carry]")) return;
  else if (target.matches("[data-give-back]")) {
    const control = target.closest("[data-control]");
    control.querySelector("[data-choice]").focus();
    choose(target.dataset.giveBack, null);
  } else if (target.matches("[data-send]")) send(target.dataset.send, {});
  else if (target.matches(".num")) { asked = target; if (target.dataset.said) window.canalwright.where(target.dataset.said); else send("cw-where", { key: target.dataset.key }); }
  else if (target === event.target && target.matches("dialog")) target.close();
});

// A file that is made first: that it is being made is said, and why it cannot be, which a browser's own download would not tell.
async function fetched(event, link) {
  event.preventDefault();
  const place = document.getElementById("download-told");
  if (link.ariaBusy === "true") return;
  link.ariaBusy = "true";
  place.classList.add("quiet");
  place.textContent = link.dataset.fetch;
  let wrong = "";
  try {
    const answer = await fetch(link.href);
    if (answer.ok) {
      const name = /filename="([^"]*)"/.exec(answer.headers.get("content-disposition") ?? "")?.[1] ?? "";
      const address = URL.createObjectURL(await answer.blob());
      Object.assign(document.createElement("a"), { href: address, download: name }).click();
      setTimeout(() => URL.revokeObjectURL(address), 60000);
    } else wrong = (await answer.json()).problems.join(" ");
  } catch { wrong = document.querySelector("[data-lost]")?.dataset.lost ?? ""; }
  link.ariaBusy = "false";
  place.classList.toggle("quiet", !wrong);
  place.textContent = wrong;
}

// Seconds that something has been under way; a line that is drawn anew for the same wait counts on.
let counted = 0;
setInterval(() => {
  const places = document.querySelectorAll("[data-counting]");
  counted = places.length ? counted + 1 : 0;
  for (const place of places) place.textContent = counted > 1 ? `${counted} ${place.dataset.counting}` : "";
}, 1000);

document.addEventListener("focusin", (event) => { held = event.target.dataset?.key ?? ""; });

// What a control says: a slider's number with its unit, or the instrument.
const says = (control) => (control.querySelector("output") ?? control.querySelector("select option:checked"))?.textContent ?? "";

function choose(key, value) {
  if (settled) before = new Map([...document.querySelectorAll("[data-control]")].map((c) => [c.dataset.control, c.dataset.told ?? ""]));
  settle(false);
  const control = document.querySelector(`[data-control="${key}"] .set-by`);
  if (control) control.dataset.auto = value === null ? "true" : "false";
  newest.set(key, ++made);
  send("cw-choose", { key, value, made });
}

function settle(yes) {
  settled = yes;
  document.documentElement.dataset.settled = String(yes); // what is shown is the whole plan of all that was chosen
}

function tell(input) {
  const output = document.getElementById("o-" + input.dataset.choice);
  const sign = input.min < 0 && input.value > 0 ? "+" : "";
  const text = `${sign}${Number(input.value).toFixed(Number(input.dataset.digits)).replace("-", "−")} ${input.dataset.unit}`.trim();
  if (output) output.textContent = text;
  input.setAttribute("aria-valuetext", text);
}

// What a number says that the browser writes, as it stands when it is asked: a part of its button, its source, or another place of the page.
function now(what) {
  if (what === "source") return asked?.dataset.source || "–";
  return (what.startsWith("#") ? document.querySelector(what) : asked?.querySelector(what))?.textContent.trim() || "–";
}

function set(name, value) {
  if (name === "theme") {
    try { localStorage.setItem("cw_theme", value); } catch { /* a browser that keeps nothing */ }
    if (value === "auto") delete document.documentElement.dataset.theme;
    else document.documentElement.dataset.theme = value;
    return;
  }
  document.cookie = `cw_${name}=${value}; path=/; max-age=31536000; samesite=strict`;
  location.reload();
}

function closeSettings(event) {
  const open = document.querySelector("details.settings[open]");
  if (open && !open.contains(event.target)) open.open = false;
}

// Numbers that moved are marked for a moment; a number that had the focus keeps it when it is drawn anew.
function drawn() {
  for (const number of document.querySelectorAll(".num[data-key]")) {
    const says = number.textContent, key = number.dataset.key;
    if (last.has(key) && last.get(key) !== says) number.classList.add("moved");
    last.set(key, says);
  }
  if (held && (document.activeElement === document.body || !document.activeElement)) {
    document.querySelector(`.num[data-key="${CSS.escape(held)}"]`)?.focus({ preventScroll: true });
  }
}

window.canalwright = Object.assign(window.canalwright ?? {}, {
  // What the controls say to a plan that answers all choices up to number `heard`: one that was moved since stays where the hand put it.
  shown(controls, told, heard) {
    for (const [key, state] of Object.entries(controls)) {
      const control = document.querySelector(`[data-control="${key}"]`);
      if (!control || newest.get(key) > heard) continue;
      const input = control.querySelector("[data-choice]");
      control.querySelector(".set-by").dataset.auto = String(state.auto);
      if (state.auto || document.activeElement !== input) input.value = state.value;
      if (input.type === "range") tell(input);
      control.dataset.told = says(control);
      // What the planner moved with the hand's choice says so: hotter with more rounds is not the same as hotter.
      const was = control.querySelector(".was"), then = before.get(key);
      was.textContent = state.auto && then && then !== control.dataset.told ? was.dataset.was.replace("{value}", then) : "";
    }
    if (told) {
      const moved = [...document.querySelectorAll("[data-control]")].filter((c) => c.querySelector(".was").textContent);
      const also = moved.map((c) => `${c.querySelector("label").textContent} ${c.dataset.told} (${c.querySelector(".was").textContent})`);
      document.getElementById("told").textContent = [told, ...also].join(" ");
      settle(heard === made);
    }
    requestAnimationFrame(() => requestAnimationFrame(drawn));
  },
  progress(text) {
    const place = document.querySelector("[data-progress]");
    if (place && place.textContent !== text) place.textContent = text;
  },
  moved,
  mark(stage, content) {
    const place = document.querySelector(`[data-stage="${stage}"] .mark`);
    if (place) place.outerHTML = content;
  },
  where(content, from = asked) {
    asked = from;
    const dialog = document.getElementById("where");
    document.getElementById("where-content").innerHTML = content;
    for (const place of dialog.querySelectorAll("[data-now]")) place.textContent = now(place.dataset.now);
    dialog.showModal();
    dialog.onclose = () => { // the browser has given the focus back where it could; who has moved on since keeps it
      if (document.activeElement && document.activeElement !== document.body) return;
      (asked?.isConnected ? asked : document.querySelector(`.num[data-key="${CSS.escape(held)}"]`))?.focus();
    };
  },
});

for (const input of document.querySelectorAll("[data-setting=theme]")) {
  try { input.checked = input.value === (localStorage.getItem("cw_theme") ?? "auto"); } catch { /* as above */ }
}
document.addEventListener("toggle", (event) => {
  if (!event.target.matches?.("details.settings")) return;
  let theme = "auto";
  try { theme = localStorage.getItem("cw_theme") ?? "auto"; } catch { /* as above */ }
  const input = event.target.querySelector(`[data-setting=theme][value=${theme}]`);
  if (input) input.checked = true;
}, true);

// A case that was changed in another window: this one says that it shows an older state, and leads to the new one.
const PLACE = /^\/case\/([^/]+)(\/.*)$/;
let place = null, looks = 0;

async function older() {
  if (!place) return;
  const mine = ++looks;
  const answer = await fetch(`/case/${place[1]}/newer.json`).catch(() => null), told = answer?.ok ? await answer.json() : {};
  if (mine !== looks) return; // asked again meanwhile, perhaps as another state of the case: what came late is not told
  if (told.gone && !document.querySelector("[data-gone]")) return location.reload(); // it was closed or erased: the page says so
  for (const said of document.querySelectorAll(".older")) said.remove();
  if (told.newer) say("status", `${told.text} `, Object.assign(document.createElement("a"), { href: `/case/${told.newer}${place[2]}${location.search}`, textContent: told.link }));
  if (told.unkept) say("alert", told.unkept);
}

function say(role, ...parts) {
  const line = Object.assign(document.createElement("p"), { className: "older", role });
  line.append(...parts);
  (document.querySelector("#content") ?? document.body).prepend(line);
}

// This window changed its case: address and links follow it, the other windows hear of it.
function moved(was, now) {
  const from = `/case/${was}/`, to = `/case/${now}/`;
  history.replaceState(null, "", (was ? location.pathname.replace(from, to) : `${to}0/measure`) + location.search + location.hash);
  requestAnimationFrame(() => {
    for (const link of was ? document.querySelectorAll("a[href]") : []) {
      const href = link.getAttribute("href");
      if (href.startsWith(from)) link.setAttribute("href", href.replace(from, to));
    }
  });
  placed();
  older();
}

function placed() {
  place = location.pathname.match(PLACE);
  if (place) try { localStorage.setItem("cw_case", `${place[1]} ${Date.now()}`); } catch { /* a browser that keeps nothing */ }
}

placed();
addEventListener("storage", (event) => { if (event.key === "cw_case") older(); });
document.addEventListener("visibilitychange", () => { if (!document.hidden) older(); });
const wait = setInterval(() => { if (document.querySelector("#content")) { clearInterval(wait); older(); } }, 60);
