// Opening a case file or an archive of a case: read here, sent to this machine's own server, problems told line by line.

const MOST = { "/open": 2 * 1024 * 1024, "/open-archive": 64 * 1024 * 1024 };

document.addEventListener("change", (event) => {
  if (event.target.id === "file" && event.target.files.length) open(event.target.files[0]).finally(() => { event.target.value = ""; });
});
for (const name of ["dragover", "dragleave", "drop"]) {
  document.addEventListener(name, (event) => {
    const place = document.getElementById("drop");
    if (!place) return;
    event.preventDefault();
    place.classList.toggle("over", name === "dragover");
    if (name === "drop" && event.dataTransfer.files.length) open(event.dataTransfer.files[0]);
  });
}

document.addEventListener("click", async (event) => {
  const button = event.target.closest?.("[data-close], [data-give-up]");
  if (!button || (button.dataset.sure && !confirm(button.dataset.sure))) return;
  try {
    const told = await (await fetch(button.dataset.giveUp ? `/measure/${button.dataset.giveUp}/close` : `/case/${button.dataset.close}/close`, { method: "POST" })).json();
    location.assign(told.go);
  } catch { tell([document.getElementById("file").dataset.failed]); }
});

async function open(file) {
  const way = /\.zip$/i.test(file.name) ? "/open-archive" : "/open", most = MOST[way];
  if (file.size > most) return tell([`${file.name}: ${Math.round(file.size / 1024)} kB, at most ${most / 1024} kB`]);
  try {
    const answer = await fetch(`${way}?name=${encodeURIComponent(file.name)}`, { method: "POST", body: await file.arrayBuffer() });
    const told = await answer.json();
    if (told.go) location.assign(told.go);
    else tell(told.problems);
  } catch {
    tell([document.getElementById("file").dataset.failed]);
  }
}

function tell(problems) {
  const box = document.getElementById("problems");
  const title = document.createElement("p");
  title.append(Object.assign(document.createElement("b"), { textContent: box.dataset.title }));
  const list = document.createElement("ul");
  for (const problem of problems) list.append(Object.assign(document.createElement("li"), { textContent: problem }));
  box.replaceChildren(title, list);
  box.hidden = false;
}
