// Before the chair: begin a session, and say when earlier ones were begun.

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
}, 60);
