// The check from two scans: what the form says goes to the server.

document.addEventListener("submit", (event) => {
  if (event.target.id !== "cs-form") return;
  event.preventDefault();
  window.emitEvent("cw-scans", Object.fromEntries(new FormData(event.target)));
});
