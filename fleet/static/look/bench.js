// The step form at the bench: p, f and n choose the verdict while a number is typed as well (no number has them), i leads to
// the instrument, "not applicable" leads to the note that says why, and Enter saves a long note too. Without this the form works by hand.

const stepForm = document.querySelector("form[data-step]");

function choose(letter) {
  const choice = stepForm.querySelector(`[data-key="${letter}"] input`);
  if (!choice) return false;
  choice.click();
  return true;
}

stepForm?.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target.name === "value" && "pfnl".includes(event.key) && choose(event.key)) event.preventDefault();
  if (event.target.name === "value" && event.key === "i" && stepForm.elements.instrument) {
    event.preventDefault();
    stepForm.elements.instrument.focus();
  }
  if (event.key === "Enter" && !event.shiftKey && "enterSends" in event.target.dataset) {
    event.preventDefault();
    stepForm.requestSubmit();
  }
});

stepForm?.addEventListener("change", (event) => {
  if (event.target.name !== "verdict") return;
  const note = stepForm.elements.note;
  note.required = event.target.value === "na";
  if (note.required) note.focus();
  else if (stepForm.elements.value) stepForm.elements.value.focus();
  else event.target.focus();
});
