// A table of numbers that answer (role grid) is one stop of the Tab key: arrows go from number to number, Home and End along the row.

const NUMBERS = ":is(td, th) .num";

function rove(table) {
  table.dataset.roving = "true";
  table.querySelectorAll(NUMBERS).forEach((number, i) => { number.tabIndex = i ? -1 : 0; });
}

const found = () => document.querySelectorAll("table[role=grid]:not([data-roving])").forEach(rove);
new MutationObserver(found).observe(document.documentElement, { childList: true, subtree: true });
found();

// The number to go to from a cell; none where the table ends.
function next(cell, key) {
  const row = cell.parentElement, rows = [...cell.closest("table").rows], at = rows.indexOf(row);
  const along = { ArrowRight: [...row.cells].slice(cell.cellIndex + 1), ArrowLeft: [...row.cells].slice(0, cell.cellIndex).reverse(),
    Home: [...row.cells], End: [...row.cells].reverse(), ArrowDown: rows.slice(at + 1).map((r) => r.cells[cell.cellIndex]),
    ArrowUp: rows.slice(0, at).reverse().map((r) => r.cells[cell.cellIndex]) }[key];
  return along?.map((each) => each?.querySelector(".num")).find(Boolean);
}

document.addEventListener("keydown", (event) => {
  const cell = event.target.closest?.("[role=grid] .num")?.closest("td, th"), to = cell && !event.ctrlKey && !event.metaKey && !event.altKey && next(cell, event.key);
  if (!to) return;
  event.preventDefault();
  to.focus();
});

document.addEventListener("focusin", (event) => {
  const number = event.target.closest?.("[role=grid] .num");
  if (!number || number.tabIndex === 0) return;
  for (const other of number.closest("table").querySelectorAll(`${NUMBERS}[tabindex="0"]`)) other.tabIndex = -1;
  number.tabIndex = 0;
});
