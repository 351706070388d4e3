// The step form at the bench: p, f and n (or 1, 2, 3) choose the verdict while a number is typed as well (no number has the
// letters), i leads to the instrument, "not applicable" leads to the note that says why, Enter saves a long note too, and Escape
// leaves the step for the overview, or the field for the page's own keys. Without this the form works by hand. The form may be replaced while the page is open.

const stepFormOf = (element) => element.closest?.("form[data-step]");

function choose(form, letter) {
  const choice = form.querySelector(`[data-key="${letter}"] input`);
  if (!choice) return false;
  choice.click();
  return true;
}

function chooseNth(form, digit) {
  const choice = form.querySelectorAll(".verdicts .choice input")[Number(digit) - 1];
  choice?.click();
  return Boolean(choice);
}

function leadToInstrument(form) {
  if (form.elements.instrument) form.elements.instrument.focus();
  return Boolean(form.elements.instrument);
}

function keyOf(form, event) {
  const { key, target } = event;
  if (key === "Enter" && !event.shiftKey && "enterSends" in target.dataset) {
    form.requestSubmit();
    return true;
  }
  if (target.name === "value" && "pfnl".includes(key)) return choose(form, key);
  if (target.name === "value" && key === "i") return leadToInstrument(form);
  return false;
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || document.querySelector("dialog[open]")) return;
  const form = stepFormOf(event.target) ?? document.querySelector("form[data-step]");
  if (form && stepFormOf(event.target) && keyOf(form, event)) event.preventDefault();
  else if (form && /^[1-9]$/.test(event.key) && !typing(event.target) && chooseNth(form, event.key)) event.preventDefault();
  else if (event.key === "Escape" && typing(event.target)) leave(event.target);
});

// Out of a field the single keys of the page work again.
function leave(field) {
  const overview = document.querySelector('[data-key="Escape"]');
  if (overview) overview.click();
  else field.blur();
}

document.addEventListener("change", (event) => {
  const form = stepFormOf(event.target);
  if (!form || event.target.name !== "verdict") return;
  const note = form.elements.note;
  note.dataset.needed ??= String(note.required);
  note.required = event.target.value === "na" || note.dataset.needed === "true";
  if (event.target.value === "na") note.focus();
  else if (form.elements.value) form.elements.value.focus();
  else event.target.focus();
});
