// Moves between leads, list, overview, type pages and what looks alike. Links are real links, so
// they open in a new tab too; a plain click or Enter stays on the page and keeps the leads.
function placeOf(search) {
  const asked = new URLSearchParams(search);
  const state = history.state || {};
  if (asked.get("type")) return { type: asked.get("type"), all: asked.get("photos") === "all" ? "yes" : "" };
  if (asked.get("like")) return { like: asked.get("like") };
  if (asked.get("find")) return { position: Number(asked.get("find")) };
  if (asked.get("view")) return { view: asked.get("view") };
  return { tab: state.tab || "look" };
}
function show(place) {
  if ("position" in place) trigger("find", place);
  else trigger("open", place);
}
document.addEventListener("click", (event) => {
  if (event.defaultPrevented || event.button || event.metaKey || event.ctrlKey || event.shiftKey) return;
  const link = event.target.closest("a[data-type], a[data-like], a[data-find], a[data-view], a[data-home]");
  if (!link) return;
  event.preventDefault();
  // So that "back" returns to where the link was, and as far down.
  const tab = link.closest("#ss-tab-types") ? "types" : "look";
  history.replaceState({ ...(history.state || {}), tab, down: window.scrollY }, "");
  const search = new URL(link.href, location.href).search;
  if (link.dataset.home === "look") history.pushState({ tab: "look" }, "", location.pathname);
  else history.pushState({ tab: "types" }, "", search);
  show(placeOf(location.search));
});
window.addEventListener("popstate", (event) => {
  show(placeOf(location.search));
  const down = event.state && event.state.down;
  if (down) setTimeout(() => window.scrollTo(0, down), 400);
});
if (location.search.match(/[?&](type|like|view)=/)) show(placeOf(location.search));
