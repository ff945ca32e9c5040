// The reader's choice of appearance, before anything is drawn.
try {
  const theme = localStorage.getItem("cw_theme");
  if (theme === "light" || theme === "dark") document.documentElement.dataset.theme = theme;
} catch { /* a browser that keeps nothing */ }
