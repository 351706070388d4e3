// Runs before the page paints, so a chosen theme never flashes the other one. Everything else is in house.js.
(() => {
  const root = document.documentElement;
  root.classList.add("js");
  try {
    const chosen = localStorage.getItem("theme");
    if (chosen === "light" || chosen === "dark") root.dataset.theme = chosen;
  } catch {
    // Storage is refused: the system's own preference holds.
  }
})();
