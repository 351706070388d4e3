// A page's own print button ([data-print]); without JavaScript it stays hidden and the browser's own menu prints.
for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}
