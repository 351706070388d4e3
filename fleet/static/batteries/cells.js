// A form with many short cells (data-cells): Enter goes to the next cell instead of sending the form, Shift and Enter
// to the one before, and from the last cell to the button that sends it. A scanner that ends with Enter or Tab thus
// lands in the next cell. Without this the form works with Tab and the mouse.

const cellsForm = document.querySelector("form[data-cells]");

function stops(form) {
  const fields = [...form.elements].filter((field) => field.matches("input:not([type=hidden]), select, button[type=submit]"));
  return fields.filter((field) => !field.disabled && (field.type !== "radio" || field.checked || !groupChosen(form, field)));
}

const groupChosen = (form, radio) => form.elements[radio.name].value !== "";

// A cell marked data-skip is passed over when it holds a value or may be left empty.
const passed = (field) => "skip" in field.dataset && (field.value !== "" || !field.required);

function step(form, from, by) {
  const cells = stops(form).filter((field) => field === from || !passed(field));
  const to = cells[cells.indexOf(from) + by];
  if (!to) return;
  to.focus();
  if (to.matches("input:not([type=radio])")) to.select();
}

cellsForm?.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || event.ctrlKey || event.metaKey || event.altKey) return;
  if (!event.target.matches("input, select")) return;
  event.preventDefault();
  step(cellsForm, event.target, event.shiftKey ? -1 : 1);
});

// The first cell that is still to be typed takes the focus, unless the page says what is wrong first.
if (cellsForm && !document.querySelector("[data-focus]")) {
  stops(cellsForm).find((field) => field.value === "" && !passed(field))?.focus();
}
