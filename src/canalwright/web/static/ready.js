// Notes before the filling: tells each to the server, says beside a form what is wrong, lets the address follow the case.

const send = (name, value) => window.emitEvent(name, value);
const note = (what, rest = {}) => send("cw-note", { what, ...rest });
const sent = new Set(); // forms that were sent and not touched since: what is entered before the answer comes stays

document.addEventListener("submit", (event) => {
  const form = event.target.closest?.("form[data-note]");
  if (!form) return;
  event.preventDefault();
  sent.add(form.dataset.note);
  note("add", { kind: form.dataset.note, values: Object.fromEntries(new FormData(form, event.submitter)) });
});

for (const name of ["input", "click"]) {
  document.addEventListener(name, (event) => {
    if (!event.target.closest?.("[type=submit]")) sent.delete(event.target.closest?.("form[data-note]")?.dataset.note);
  });
}

document.addEventListener("change", (event) => {
  const field = event.target, value = field.value;
  if (field.dataset?.bath) note("bath", { kind: "bath", at: field.dataset.bath, values: { value } });
  else if (field.dataset?.age !== undefined && field.id === "n-age") note("age", { kind: "age", values: { value } });
});

document.addEventListener("click", (event) => {
  const key = event.target.closest?.("button");
  if (!key) return;
  const { drop, at, undo, useLength, solution, between, anyway, orderDrop } = key.dataset;
  if (drop) { rest(key); note("drop", { kind: drop, at: Number(at) }); }
  else if (undo !== undefined) send("cw-undo", {});
  else if (useLength) note("length", { kind: "length", values: { value: useLength } });
  else if (solution) send("cw-solution", { how: "add", name: solution });
  else if (between) send("cw-solution", { how: "between", name: between });
  else if (anyway) send("cw-solution", { how: "anyway", name: anyway });
  else if (orderDrop !== undefined) { rest(key); send("cw-solution", { how: "drop", at: Number(orderDrop) }); }
});

document.addEventListener("keydown", (event) => {
  const writing = event.target.matches?.("input[type=text], textarea");
  if ((event.ctrlKey || event.metaKey) && event.key === "z" && !writing) { event.preventDefault(); send("cw-undo", {}); }
});

// Where the focus goes when the row under it is taken out: the first field of its part.
function rest(key) {
  const part = key.closest("section");
  (part?.querySelector("form select, form input, .rd-keys button") ?? document.getElementById("content"))?.focus({ preventScroll: true });
}

window.canalwright = Object.assign(window.canalwright ?? {}, {
  noted(older, newer, cleared) {
    window.canalwright.moved(older, newer);
    for (const wrong of document.querySelectorAll("p.wrong")) wrong.textContent = "";
    for (const field of document.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
    const form = cleared && document.querySelector(`form[data-note="${cleared}"]`);
    if (!form || !sent.has(cleared)) return;
    document.dispatchEvent(new CustomEvent("cw-cleared", { detail: form }));
    if (form.classList.contains("pp-form")) return;
    for (const field of form.querySelectorAll("input")) field.value = "";
    form.querySelector("input")?.focus();
  },
  refused(kind, told) {
    const place = document.getElementById(`e-${kind}`);
    if (!place) return;
    place.textContent = "";
    requestAnimationFrame(() => { place.textContent = told; });
    const field = document.querySelector(`form[data-note="${kind}"] input[type=text]:not(:disabled), [data-${CSS.escape(kind)}]`);
    field?.setAttribute("aria-invalid", "true");
    field?.focus();
  },
});
