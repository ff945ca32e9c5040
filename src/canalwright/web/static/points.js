// The pad: keys that step a length, keys that choose, what a slanted border asks for, the size that comes next.

const send = (name, value) => window.emitEvent(name, value);
const byId = (id) => document.getElementById(id);

document.addEventListener("click", (event) => {
  const key = event.target.closest?.("button[data-step], button[data-size]");
  if (!key) return;
  if (key.dataset.step) step(byId(key.dataset.for), Number(key.dataset.step));
  else turn(Number(key.dataset.size));
});

document.addEventListener("change", (event) => {
  if (event.target.name === "border") slanted(event.target.form, event.target.value === "slanted");
  if (event.target.name === "dry_mm") keepLonger();
  if (event.target.name === "fitted") fitted(event.target);
  if (event.target.id === "pp-size") paint();
});

document.addEventListener("cw-cleared", ({ detail: form }) => {
  if (form.dataset.note !== "paper_points") return;
  for (const name of ["shows", "border", "side"]) form.querySelector(`input[name=${name}]`).checked = true;
  slanted(form, false);
});

function step(field, by) {
  const value = Number(String(field.value).replace(",", "."));
  field.value = (Math.round(4 * ((Number.isFinite(value) ? value : 0) + by)) / 4).toFixed(2);
  field.dispatchEvent(new Event("change", { bubbles: true }));
}

function slanted(form, yes) {
  const more = form.querySelector(".pp-slanted"), far = byId("pp-far_side_mm");
  more.hidden = !yes;
  far.disabled = !yes;
  far.value = "";
  if (yes) { far.value = byId("pp-dry_mm").value; step(far, 0.5); }
}

function keepLonger() {
  const far = byId("pp-far_side_mm"), dry = byId("pp-dry_mm");
  if (!far.disabled && Number(far.value) < Number(dry.value)) far.value = dry.value;
}

let waiting = 0;
function fitted(field) {
  clearTimeout(waiting);
  waiting = setTimeout(() => send("cw-fitted", { value: field.value }), 120);
}

function turn(by) {
  const list = byId("pp-size");
  list.selectedIndex = Math.min(Math.max(list.selectedIndex + by, 0), list.options.length - 1);
  paint();
}

function paint() {
  const list = byId("pp-size");
  if (!list) return void requestAnimationFrame(paint); // the framework has not laid the page out yet
  list.style.borderLeftColor = list.selectedOptions[0]?.dataset.colour || "transparent";
}

window.canalwright = Object.assign(window.canalwright ?? {}, {
  size(next) { requestAnimationFrame(() => { byId("pp-size").value = String(next); paint(); }); },
});
paint();
