// Before the chair: begin a session, and say when earlier ones were begun and how far they came.

document.addEventListener("click", async (event) => {
  const button = event.target.closest?.("[data-begin]");
  if (!button) return;
  button.disabled = true;
  const query = new URLSearchParams(location.search);
  query.set("practice", button.dataset.practice);
  const wrong = document.getElementById("begin-wrong");
  wrong.textContent = "";
  try {
    const answer = await fetch(`${button.dataset.begin}?${query}`, { method: "POST" }), told = await answer.json();
    if (told.go) return location.assign(told.go);
    wrong.textContent = (told.problems ?? []).join(" ");
  } catch { wrong.textContent = wrong.dataset.lost; }
  button.disabled = false;
});

const wait = setInterval(() => {
  const times = document.querySelectorAll("time[data-moment]:empty");
  if (!document.querySelector("[data-begin]")) return;
  clearInterval(wait);
  for (const time of times) time.textContent = new Date(Number(time.dataset.moment) * 1000).toLocaleString(document.documentElement.lang);
  reached();
}, 60);

// One after the other: where the plan of a session has to be made again this takes a while, and the number of entries stands until then.
async function reached() {
  for (const place of document.querySelectorAll("[data-session]")) {
    try {
      const answer = await fetch(place.dataset.session);
      if (!answer.ok) continue;
      const told = await answer.json(), done = told.phase === "done", way = place.parentElement.querySelector("[data-done]");
      place.textContent = place.dataset.at.replace("%of", told.total).replace("%n", done ? told.total : told.index + 1);
      if (done) way.textContent = way.dataset.done;
    } catch { /* what stands there stays */ }
  }
}
