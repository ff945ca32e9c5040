// The check page: the film and its marks are those of radiograph.js; here is what depends on the rest of the page.

const send = (name, value) => window.emitEvent(name, value);
const WAIT = 250; // ms of rest in a field before it counts
const waiting = new Map(); // a timer for each field: the next one does not silence the one before

document.addEventListener("change", (event) => {
  if (event.target.id === "ck-band") send("cw-check", { name: "band", value: event.target.value });
});
document.addEventListener("input", (event) => {
  const field = event.target;
  if (!field.closest?.("#ck-restore")) return;
  clearTimeout(waiting.get(field.name));
  waiting.set(field.name, setTimeout(() => send("cw-check", { name: field.name, value: field.value }), WAIT));
});

window.canalwright = Object.assign(window.canalwright ?? {}, {
  // A reload, or a link, finds the film again.
  checkFilm(id) {
    const query = new URLSearchParams(location.search);
    query.set("films", id);
    history.replaceState(null, "", `${location.pathname}?${query}`);
  },
});
