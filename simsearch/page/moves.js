// Moves between leads, list and type pages. Links are real links, so they open in a new tab
// too; a plain click or Enter stays on the page and keeps the leads.
function show(search) {
  const type = new URLSearchParams(search).get("type");
  if (type) trigger("open", { type });
  else trigger("home", { tab: (history.state && history.state.tab) || "look" });
}
document.addEventListener("click", (event) => {
  if (event.defaultPrevented || event.button || event.metaKey || event.ctrlKey || event.shiftKey) return;
  const link = event.target.closest("a[data-type], a[data-home]");
  if (!link) return;
  event.preventDefault();
  if (link.dataset.type) {
    // So that "back" returns to where the link was: the leads or the list.
    if (!new URLSearchParams(location.search).get("type")) {
      history.replaceState({ tab: link.closest("#ss-tab-types") ? "types" : "look" }, "");
    }
    history.pushState({}, "", `?type=${encodeURIComponent(link.dataset.type)}`);
    trigger("open", { type: link.dataset.type });
  } else {
    history.pushState({ tab: link.dataset.home }, "", location.pathname);
    trigger("home", { tab: link.dataset.home });
  }
});
window.addEventListener("popstate", () => show(location.search));
if (new URLSearchParams(location.search).get("type")) show(location.search);
