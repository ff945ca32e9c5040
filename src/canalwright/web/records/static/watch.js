// Locks the screen after ten minutes without a hand on it, and tells the server that somebody is still there before that.
(() => {
  const IDLE = 10 * 60 * 1000 + 2000, TELL = 2 * 60 * 1000;
  let touched = Date.now(), told = Date.now();
  for (const name of ["pointerdown", "keydown", "wheel", "touchstart"]) {
    addEventListener(name, () => { touched = Date.now(); }, { passive: true, capture: true });
  }
  // What was done in the records may concern a case that stands open in another window: an erased one goes from there too.
  if (location.pathname.startsWith("/records/")) try { localStorage.setItem("cw_case", `records ${Date.now()}`); } catch { /* a browser that keeps nothing */ }
  setInterval(async () => {
    const now = Date.now();
    if (now - touched > IDLE) return location.reload();
    if (touched > told && now - told > TELL) {
      told = now;
      const answer = await fetch("/records/here", { cache: "no-store" }).catch(() => null);
      if (answer?.status === 401) location.reload();
    }
  }, 5000);
})();
