// Points are set by clicks on a photo and sent as shares of its sides. A measurement is put into
// the panel only when its button is pressed.
const MOST = 4;
const names = ["known distance, first end", "known distance, second end", "find, first end", "find, second end"];
const set = new WeakMap();

function draw(part) {
  const points = set.get(part) || [];
  const picture = part.querySelector(".ss-points-picture");
  picture.querySelectorAll("span").forEach((old) => old.remove());
  points.forEach(([x, y], number) => {
    const dot = document.createElement("span");
    dot.textContent = number + 1;
    dot.className = number < 2 ? "ss-dot" : "ss-dot ss-dot-find";
    dot.style.left = `${100 * x}%`;
    dot.style.top = `${100 * y}%`;
    picture.append(dot);
  });
  const next = points.length < MOST ? ` Next: ${names[points.length]}.` : "";
  part.querySelector("[data-count]").textContent = `${points.length} of ${MOST} points set.${next}`;
}
element.addEventListener("click", (event) => {
  const part = event.target.closest(".ss-points");
  if (part && event.target.tagName === "IMG") {
    const box = event.target.getBoundingClientRect();
    const points = set.get(part) || [];
    if (points.length < MOST) {
      const share = (value) => Math.min(1, Math.max(0, value));
      set.set(part, [...points, [share((event.clientX - box.left) / box.width), share((event.clientY - box.top) / box.height)]]);
    }
    draw(part);
  }
  if (part && event.target.closest("[data-again]")) { set.set(part, []); draw(part); }
  if (part && event.target.closest("[data-measure]")) {
    trigger("points", { photo: Number(part.dataset.photo), points: set.get(part) || [], mm: part.querySelector("[data-mm]").value });
  }
  const take = event.target.closest("[data-take]");
  if (take) {
    const panel = document.querySelector("#ss-cannot-show form");
    for (const name of ["length", "width", "error"]) {
      // Not panel.elements.length, which is how many fields there are.
      if (panel && take.dataset[name]) panel.querySelector(`[name="${name}"]`).value = take.dataset[name];
    }
    take.parentElement.querySelector("[data-taken]").textContent = "Put in. Look it over, then weigh it in.";
  }
});
