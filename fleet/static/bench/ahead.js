// Without a connection the other steps of an order come out of its page itself: each stands there in a template.

(() => {
  const left = new Map(); // steps that were on this page before, as they were left
  const templates = () => [...document.querySelectorAll("template[data-step-ahead]")];
  const shown = () => document.querySelector("#step");
  const here = () => Number(shown()?.dataset.position);
  const unconnected = () => "unconnected" in document.body.dataset;

  function neighbour(by) {
    const all = [...new Set([...left.keys(), here(), ...templates().map((each) => Number(each.dataset.stepAhead))])];
    all.sort((one, other) => one - other);
    return all[all.indexOf(here()) + by];
  }

  function turnTo(position) {
    const ready = templates().find((each) => Number(each.dataset.stepAhead) === position);
    const step = left.get(position) ?? ready?.content.querySelector("#step").cloneNode(true);
    if (!step || position === here()) return false;
    left.set(here(), shown());
    shown().replaceWith(step);
    focusFirst();
    return true;
  }

  document.addEventListener("kept:waits", () => {
    if (unconnected()) turnTo(neighbour(1));
  });

  // While there is no connection the ways from step to step stay within this page, too.
  document.addEventListener("click", (event) => {
    const way = event.target.closest?.('a[href^="?step="]');
    if (!way || !(unconnected() || !navigator.onLine)) return;
    const by = { prev: -1, next: 1 }[way.rel];
    if (turnTo(by ? neighbour(by) : Number(new URLSearchParams(way.search).get("step")))) event.preventDefault();
  });
})();
