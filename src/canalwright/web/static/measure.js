// The form: tells each change to the server, shows beside each field what will be used or what is wrong.

const send = (name, value) => window.emitEvent(name, value);
const REST = 250; // ms without a key after which a field is told
let touched = new Set(), latest = [{}, {}], waiting = null; // waiting: a field that is being typed in, with its timer

// Each change says which canal the form shows: another may have been chosen that the server has not drawn yet.
const shown = () => Number(document.querySelector(".tab[data-form='canal'][aria-current=true]")?.dataset.value ?? 0);
const field = (entry) => send("cw-field", { key: entry.dataset.fieldKey, value: entry.value, at: shown() });

function typed(entry) {
  if (waiting?.entry !== entry) told();
  clearTimeout(waiting?.timer);
  waiting = { entry, timer: setTimeout(told, REST) };
}

// What was typed and is not told yet is told before anything else is.
function told() {
  if (!waiting) return;
  const { entry, timer } = waiting;
  waiting = null;
  clearTimeout(timer);
  field(entry);
}

document.addEventListener("change", (event) => {
  const { form, fieldKey, methodKey } = event.target.dataset ?? {};
  if (waiting?.entry === event.target) { clearTimeout(waiting.timer); waiting = null; } else told();
  if (form) send("cw-form", { what: form, value: event.target.value });
  else if (methodKey) send("cw-method", { key: methodKey, value: event.target.value, at: shown() });
  else if (fieldKey) { touched.add(fieldKey); field(event.target); }
});
document.addEventListener("input", (event) => {
  const tab = event.target.dataset?.fieldKey === "name" && document.querySelector(".tab[data-form='canal'][aria-current=true]");
  if (tab) tab.textContent = event.target.value || String(Number(tab.dataset.value) + 1);
});
document.addEventListener("input", (event) => {
  if (event.target.dataset?.fieldKey && event.target.matches("input")) typed(event.target);
});
document.addEventListener("click", (event) => {
  const button = event.target.closest?.("button[data-form], button[data-use]");
  if (!button) return;
  told();
  if (button.dataset.use) {
    for (const key of Object.keys(latest[0])) touched.add(key);
    send("cw-use", { what: button.dataset.use });
  } else send("cw-form", { what: button.dataset.form, value: button.dataset.value });
});

window.canalwright = Object.assign(window.canalwright ?? {}, {
  hints(wrong, usual) { latest = [wrong, usual]; requestAnimationFrame(() => requestAnimationFrame(lay)); },
});

function lay() {
  const [wrong, usual] = latest;
  for (const field of document.querySelectorAll("[data-field]")) {
    const key = field.dataset.field, entry = field.querySelector("[data-field-key]"), said = wrong[key] && (entry.value || touched.has(key)) ? wrong[key] : "";
    document.getElementById(`w-${key}`).textContent = said;
    document.getElementById(`u-${key}`).textContent = entry.value ? "" : usual[key]?.source ?? "";
    entry.setAttribute("aria-invalid", String(Boolean(said)));
    if (entry.matches("input")) entry.placeholder = usual[key]?.text ?? "";
    const method = field.querySelector("[data-method-key]");
    if (method) method.disabled = !entry.value;
  }
}
