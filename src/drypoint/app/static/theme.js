// Before the first paint: the theme that was chosen here last.
(() => {
  try {
    const kept = localStorage.getItem("drypoint-theme");
    if (kept === "light" || kept === "dark") document.documentElement.dataset.theme = kept;
  } catch { /* a browser that keeps nothing follows the system */ }
})();
