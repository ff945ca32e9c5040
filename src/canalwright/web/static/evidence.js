// Finding rows of the evidence as one types: every word has to stand in the row.

document.addEventListener("input", (event) => {
  if (event.target.id !== "find") return;
  const wanted = event.target.value.toLowerCase().split(/\s+/).filter(Boolean);
  let found = 0;
  for (const row of document.querySelectorAll("tr[data-row]")) {
    const text = row.textContent.toLowerCase(), fits = wanted.every((word) => text.includes(word));
    row.hidden = !fits;
    found += fits;
  }
  for (const part of document.querySelectorAll("details.part")) {
    const any = part.querySelector("tr[data-row]:not([hidden])");
    part.hidden = !any;
    if (wanted.length) part.open = Boolean(any);
  }
  const told = document.getElementById("found");
  told.textContent = wanted.length ? told.dataset.words.replace("{n}", found) : "";
});
