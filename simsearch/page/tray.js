// Removing one photo of the find.
element.addEventListener("click", (event) => {
  const button = event.target.closest("[data-remove]");
  if (button) trigger("removed", { position: Number(button.dataset.remove) });
});
