// The form: tells each change to the server, shows beside each field what will be used or what is wrong.

const send = (name, value) => window.emitEvent(name, value);
let touched = new Set(), latest = [{}, {}];

document.addEventListener("change", (event) => {
  const { form, fieldKey, methodKey } = event.target.dataset ?? {};
  if (form) send("cw-form", { what: form, value: event.target.value });
  else if (methodKey) send("cw-method", { key: methodKey, value: event.target.value });
  else if (fieldKey) { touched.add(fieldKey); send("cw-field", { key: fieldKey, value: event.target.value }); }
});
document.addEventListener("input", (event) => {
  const tab = event.target.dataset?.fieldKey === "name" && document.querySelector(".tab[data-form='canal'][aria-current=true]");
  if (tab) tab.textContent = event.target.value || String(Number(tab.dataset.value) + 1);
});
document.addEventListener("input", debounced((event) => {
  const { fieldKey } = event.target.dataset ?? {};
  if (fieldKey && event.target.matches("input")) send("cw-field", { key: fieldKey, value: event.target.value });
}, 250));
document.addEventListener("click", (event) => {
  const button = event.target.closest?.("button[data-form], button[data-use]");
  if (!button) return;
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

function debounced(work, rest) {
  let timer = 0;
  return (event) => { clearTimeout(timer); timer = setTimeout(() => work(event), rest); };
}
