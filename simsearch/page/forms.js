// Sends what a form holds, and what buttons beside it ask for. A button that was pressed waits
// for the answer, so that nothing is recorded twice.
function fieldsOf(form) {
  const all = {};
  for (const part of form.elements) {
    if (!part.name) continue;
    if (part.type === "checkbox") all[part.name] = part.checked;
    else if (part.type === "radio") { if (part.checked) all[part.name] = part.value; }
    else all[part.name] = part.value;
  }
  return all;
}
function rest(button) {
  if (!button) return;
  button.disabled = true;
  setTimeout(() => { button.disabled = false; }, 4000);
}
element.addEventListener("submit", (event) => {
  event.preventDefault();
  const form = event.target;
  rest(event.submitter);
  trigger("asked", { do: form.dataset.do || "", id: form.dataset.id || "", fields: fieldsOf(form) });
});
element.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-do]");
  if (!button) return;
  rest(button);
  const form = button.form || element.querySelector("form[data-with]");
  trigger("asked", {
    do: button.dataset.do, id: button.dataset.id || "", fields: form ? fieldsOf(form) : {},
  });
});
