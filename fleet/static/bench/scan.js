// A scanner types fast and ends with Enter. At a step it may be pointed at anything, whatever field is open: an instrument's label
// selects the instrument, a driver's label tells whether the right driver lies on the bench. What names nothing was typing.

(() => {
  const place = document.querySelector("[data-scan-check]");
  if (!place) return;
  const told = document.querySelector("[data-scan-told]");
  // A person's keys are further apart (own choice: 50 ms is more than 20 keys a second).
  const SAME_BURST = 50;
  const SHORTEST = 4;
  let burst = "";
  let last = 0;
  let timer = 0;
  let before = null;

  const reads = (element) => element.matches("input:not([type=radio], [type=checkbox], [type=hidden], [type=file]), textarea");
  const looksLikeACode = (text) => text.length >= SHORTEST && !/\s/.test(text) && !/^[-+\d.,]+$/.test(text);

  function begin(field) {
    burst = "";
    before = reads(field) ? { field, value: field.value } : null;
  }

  // Keys outside a field wait a moment: the letters of a scan must not choose a verdict.
  function letThrough() {
    const keys = burst;
    burst = "";
    if (keys.length >= SHORTEST) return;
    for (const key of keys) {
      const event = new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true });
      event.replayed = true;
      (document.activeElement ?? document.body).dispatchEvent(event);
    }
  }

  addEventListener("keydown", (event) => {
    if (event.replayed || event.ctrlKey || event.metaKey || event.altKey || document.querySelector("dialog[open]")) return;
    if (event.target.matches("[type=password], select, #work-code")) return;
    if (event.key === "Enter") end(event);
    else if (event.key.length === 1) add(event);
  }, true);

  function add(event) {
    // When the key was pressed, not when this page got round to it: a busy page must not break a scan in two.
    if (event.timeStamp - last > SAME_BURST) begin(event.target);
    last = event.timeStamp;
    burst += event.key;
    if (before) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    clearTimeout(timer);
    timer = setTimeout(letThrough, SAME_BURST);
  }

  function end(event) {
    clearTimeout(timer);
    const code = event.timeStamp - last <= SAME_BURST ? burst : "";
    if (!looksLikeACode(code)) {
      if (!before) letThrough();
      burst = "";
      return;
    }
    event.preventDefault();
    event.stopImmediatePropagation();
    burst = "";
    ask(code, before, event.target);
  }

  async function ask(code, typed, target) {
    const asked = new URLSearchParams({ code, step: document.querySelector("#step")?.dataset.position ?? "" });
    let found;
    try {
      found = await (await fetch(`${place.dataset.scanCheck}?${asked}`, { headers: { Accept: "application/json" } })).json();
    } catch {
      found = { known: false, words: "No connection: the label could not be looked up." };
    }
    if (!found.known && typed) target.form?.requestSubmit(); // it was typing, only fast
    else hear(found, typed);
  }

  function hear(found, typed) {
    if (typed) typed.field.value = typed.value;
    told.textContent = found.words;
    told.className = `scan-told${found.right === false || !found.known ? " scan-wrong" : " scan-right"}`;
    if (found.right === false) told.scrollIntoView({ block: "center" });
    if (found.instrument) use(String(found.instrument));
  }

  function use(instrument) {
    const list = document.querySelector("form[data-step]")?.elements.instrument;
    if (!list || ![...list.options].some((option) => option.value === instrument)) return;
    list.value = instrument;
    list.dispatchEvent(new Event("change", { bubbles: true }));
  }
})();
