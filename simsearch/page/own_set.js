// Shared by every part of "Your set". A button or form says with data-do what is to be done; what
// stands in it goes along. Photos are sent one at a time; types are looked for while typing.
const LONGEST = 300;
// The framework takes as events only what stands here in quotes.
const EVENTS = [
  "make", "use", "list", "open", "close", "opinion", "withdraw", "sent", "dropped", "put", "care",
  "index", "act",
];

function fieldsOf(form) {
  const all = {};
  new FormData(form).forEach((value, name) => { if (typeof value === "string") all[name] = value.slice(0, LONGEST); });
  return all;
}
element.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-do]");
  if (!button || !EVENTS.includes(button.dataset.do)) return;
  // A finding of the report carries what it is about around its button.
  const about = button.closest("[data-action]");
  trigger(button.dataset.do, { ...(about ? about.dataset : {}), ...button.dataset });
});
element.addEventListener("submit", (event) => {
  event.preventDefault();
  trigger(event.target.dataset.do, fieldsOf(event.target));
});

// Types, and the objects of the one that is chosen.
let asked = 0;
async function findTypes(input) {
  const form = input.form, mine = ++asked;
  const chosen = form.querySelector("input[name=type]:checked");
  const found = await server.types([input.value, chosen ? chosen.value : "", input.dataset.search]);
  if (mine === asked && found) form.querySelector("[data-found]").innerHTML = found;
}
async function findObjects(form, type) {
  const select = form.querySelector("[data-objects]");
  if (!select) return;
  const objects = await server.objects(type);
  select.length = 1;
  (objects || []).forEach((one) => select.add(new Option(one.words, one.id)));
}
element.addEventListener("input", (event) => {
  if (event.target.dataset.search) findTypes(event.target);
});
element.addEventListener("keydown", (event) => {
  // Enter in the search would send the form.
  if (event.key === "Enter" && event.target.dataset.search) event.preventDefault();
});

// Photos
function report(lines) {
  const problem = element.querySelector("[data-problem]");
  problem.replaceChildren(...lines.map((line) => {
    const p = document.createElement("p");
    p.textContent = line;
    return p;
  }));
  problem.hidden = lines.length === 0;
}
async function send(list, limit) {
  const file = list[0], status = element.querySelector("[data-status]");
  report(list.length > 1 ? ["One photo at a time: the first one was taken."] : []);
  if (!file) return;
  if (file.size > limit) {
    const size = (file.size / 1048576).toFixed(0);
    return report([`${file.name} is ${size} MB, more than this page takes. Save it smaller and choose it again.`]);
  }
  status.textContent = "Reading the photo …";
  let sent = null;
  try { sent = await upload(file); } catch (error) { sent = null; }
  status.textContent = "";
  if (sent && sent.path) trigger("sent", { files: [{ path: sent.path, name: file.name }] });
  else report([`${file.name} did not reach simsearch. See that it is still running, then choose it again.`]);
}
const limitOf = () => Number(element.querySelector("[data-limit]").dataset.limit);
element.addEventListener("change", (event) => {
  const part = event.target;
  if (part.type === "file") {
    const files = Array.from(part.files);
    part.value = ""; // so that the same photo can be chosen twice in a row
    send(files, limitOf());
  } else if (part.name === "type") findObjects(part.form, part.value);
});
["dragenter", "dragover", "dragleave", "drop"].forEach((name) => element.addEventListener(name, (event) => {
  const drop = event.target.closest && event.target.closest("[data-drop]");
  if (!drop) return;
  event.preventDefault();
  drop.classList.toggle("ss-over", name === "dragenter" || name === "dragover");
  if (name === "drop") send(Array.from(event.dataTransfer.files), limitOf());
}));

// A camera button only where there is likely a camera behind the screen, as under "Your find".
function dress() {
  const touch = navigator.maxTouchPoints > 0 && Math.min(screen.width, screen.height) < 1000;
  element.querySelectorAll("[data-drop]").forEach((drop) => drop.classList.toggle("ss-touch", touch));
  const wrong = element.querySelector("[aria-invalid]");
  if (wrong) wrong.focus();
}
watch("value", dress);
dress();
