// Sends what is ticked and typed. The counts make the server draw the filters again, so what was
// open and where the keyboard was is put back afterwards.
let open = false;
let focus = null;

function sent() {
  const form = element.querySelector("form");
  const all = { first: form.elements.first.value, last: form.elements.last.value };
  form.querySelectorAll("input[type=checkbox]:checked").forEach((box) => {
    (all[box.name] = all[box.name] || []).push(box.value);
  });
  return all;
}
function same(part) {
  return [...element.querySelectorAll(focus.tag)].find(
    (other) => other.name === focus.name && (other.type !== "checkbox" || other.value === focus.value));
}
element.addEventListener("focusin", (event) => {
  const part = event.target;
  focus = { tag: part.tagName, name: part.name, value: part.value };
});
element.addEventListener("focusout", (event) => {
  if (event.relatedTarget && !element.contains(event.relatedTarget)) focus = null;
});
element.addEventListener("toggle", (event) => { open = event.target.open; }, true);
element.addEventListener("change", () => trigger("changed", sent()));
element.addEventListener("submit", (event) => { event.preventDefault(); trigger("changed", sent()); });
element.addEventListener("click", (event) => {
  if (event.target.closest("[data-clear]")) trigger("changed", { first: "", last: "" });
});
watch("value", () => {
  element.querySelector("details").open = open;
  if (focus && (document.activeElement === document.body || !document.activeElement)) {
    const part = same();
    if (part) part.focus({ preventScroll: true });
  }
});
