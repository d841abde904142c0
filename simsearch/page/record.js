// The way from the leads to the register, and sheets saved as files.
document.addEventListener("click", (event) => {
  const write = event.target.closest("button[data-write]");
  if (write) trigger("asked", { do: "write", id: write.dataset.write });
  const paper = event.target.closest("button[data-paper]");
  if (paper) save(paper);
});
async function save(button) {
  const said = document.createElement("span");
  said.className = "ss-paper-said";
  said.setAttribute("role", "status");
  said.textContent = "Making the sheet …";
  button.parentElement.querySelectorAll(".ss-paper-said").forEach((old) => old.remove());
  button.after(said);
  button.disabled = true;
  let made;
  try {
    made = await server.paper({ kind: button.dataset.paper, id: button.dataset.id, exact: button.dataset.exact || "" });
  } catch (error) {
    made = { problem: "simsearch did not answer. See that it is still running, then press again." };
  }
  button.disabled = false;
  if (made.problem) {
    said.classList.add("ss-field-problem");
    said.textContent = made.problem;
    return;
  }
  const bytes = Uint8Array.from(atob(made.content), (letter) => letter.charCodeAt(0));
  const address = URL.createObjectURL(new Blob([bytes], { type: "application/pdf" }));
  const link = document.createElement("a");
  link.href = address;
  link.download = made.name;
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 60000);
  said.textContent = `Saved as ${made.name}.`;
}
