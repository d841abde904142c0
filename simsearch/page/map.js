// The overview picture: every photo a point, near means similar. The points come with the HTML;
// small pictures are asked for as they come into view. Drawn again whenever something changes.
const CELL = 56, PICTURE = 48, AT_ONCE = 60, MOST_ZOOM = 60, LISTED = 14;
let map = null;

function begin(section) {
  const data = JSON.parse(section.dataset.points);
  const canvas = section.querySelector("canvas");
  map = {
    section, data, canvas, pen: canvas.getContext("2d"), count: data.ids.length,
    zoom: 1, x: 0.5, y: 0.5, pick: -1, only: -1, bright: null,
    pictures: new Map(), asked: new Set(), asking: false, queued: false, fingers: new Map(),
  };
  listen();
  readShown();
  new ResizeObserver(draw).observe(canvas);
  draw();
}

// Between the picture (0..1 both ways) and pixels of the canvas.
function size() { return Math.min(map.canvas.clientWidth, map.canvas.clientHeight) - 60; }
function across(i) { return map.canvas.clientWidth / 2 + (map.data.x[i] / 10000 - map.x) * size() * map.zoom; }
function down(i) { return map.canvas.clientHeight / 2 + (map.data.y[i] / 10000 - map.y) * size() * map.zoom; }

function readShown() {
  const told = document.querySelector("#ss-map-shown [data-shown]");
  const all = !told || told.dataset.everything === "yes";
  const ids = new Set(all ? [] : told.dataset.shown.split(" "));
  map.bright = map.data.types.map(([id]) => all || ids.has(id));
}
function isBright(i) {
  const type = map.data.type[i];
  return map.bright[type] && (map.only < 0 || map.only === type);
}
function inView() {
  const w = map.canvas.clientWidth, h = map.canvas.clientHeight, seen = [];
  for (let i = 0; i < map.count; i++) {
    const x = across(i), y = down(i);
    if (x > -PICTURE && y > -PICTURE && x < w + PICTURE && y < h + PICTURE) seen.push(i);
  }
  return seen;
}

// One picture for each cell of a grid that is fixed to the photos, so that nothing flickers while
// the picture is dragged. Bright photos and the one picked come first.
function withRoom(seen) {
  const cells = new Map();
  const step = CELL / (size() * map.zoom);
  for (const i of seen) {
    const key = `${Math.floor(map.data.x[i] / 10000 / step)} ${Math.floor(map.data.y[i] / 10000 / step)}`;
    const held = cells.get(key);
    if (held === undefined || (isBright(i) && !isBright(held))) cells.set(key, i);
  }
  const chosen = [...cells.values()].filter(isBright);
  if (map.pick >= 0 && !chosen.includes(map.pick)) chosen.push(map.pick);
  return chosen;
}

function draw() {
  if (!map || map.queued) return;
  map.queued = true;
  requestAnimationFrame(() => { map.queued = false; paint(); });
}
function paint() {
  const { canvas, pen } = map;
  const w = canvas.clientWidth, h = canvas.clientHeight, ratio = window.devicePixelRatio || 1;
  if (!w || !h) return;
  canvas.width = w * ratio;
  canvas.height = h * ratio;
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  const css = getComputedStyle(map.section);
  const ink = css.getPropertyValue("--ss-ink"), act = css.getPropertyValue("--ss-act");
  const card = css.getPropertyValue("--ss-card");
  const seen = inView(), room = withRoom(seen);
  for (const i of seen) {
    pen.globalAlpha = isBright(i) ? 0.75 : 0.13;
    pen.fillStyle = ink;
    pen.beginPath();
    pen.arc(across(i), down(i), 2.6, 0, 7);
    pen.fill();
  }
  pen.globalAlpha = 1;
  for (const i of room) if (i !== map.pick) picture(i, card, ink, 1);
  if (map.pick >= 0) picture(map.pick, card, act, 4);
  ask(room);
  list(seen);
}
function picture(i, ground, line, width) {
  const image = map.pictures.get(map.data.ids[i]);
  if (!image || !image.complete || !image.naturalWidth) {
    if (width > 1) { map.pen.strokeStyle = line; map.pen.lineWidth = width; map.pen.strokeRect(across(i) - 8, down(i) - 8, 16, 16); }
    return;
  }
  const pen = map.pen, big = width > 1 ? PICTURE * 1.5 : PICTURE;
  const scale = big / Math.max(image.naturalWidth, image.naturalHeight);
  const w = image.naturalWidth * scale, h = image.naturalHeight * scale;
  const x = across(i) - w / 2, y = down(i) - h / 2;
  pen.drawImage(image, x, y, w, h);
  pen.strokeStyle = line;
  pen.lineWidth = width;
  pen.globalAlpha = width > 1 ? 1 : 0.35;
  pen.strokeRect(x, y, w, h);
  pen.globalAlpha = 1;
  if (map.data.rendered[i]) {
    pen.fillStyle = ground;
    pen.fillRect(x, y, 12, 13);
    pen.fillStyle = getComputedStyle(map.section).getPropertyValue("--ss-ink");
    pen.font = "600 10px system-ui, sans-serif";
    pen.fillText("R", x + 3, y + 10);
  }
}
async function ask(room) {
  const missing = room.map((i) => map.data.ids[i]).filter((id) => !map.asked.has(id)).slice(0, AT_ONCE);
  if (!missing.length || map.asking) return;
  map.asking = true;
  missing.forEach((id) => map.asked.add(id));
  try {
    const got = await server.thumbs(missing);
    for (const [id, source] of Object.entries(got)) {
      const image = new Image();
      image.onload = draw;
      image.src = source;
      map.pictures.set(id, image);
    }
  } catch (error) {
    missing.forEach((id) => map.asked.delete(id));
    say("Pictures did not arrive. See that simsearch is still running.");
    setTimeout(() => { map.asking = false; }, 3000);
    return;
  }
  map.asking = false;
  draw();
}
function say(text) { map.section.querySelector("[data-says]").textContent = text; }

// The list beside the picture: which types are in view, most photos first.
let listed = "";
function list(seen) {
  const w = map.canvas.clientWidth, h = map.canvas.clientHeight, counts = new Map();
  for (const i of seen) {
    const x = across(i), y = down(i);
    if (x < 0 || y < 0 || x > w || y > h || !map.bright[map.data.type[i]]) continue;
    counts.set(map.data.type[i], (counts.get(map.data.type[i]) || 0) + 1);
  }
  const top = [...counts].sort((a, b) => b[1] - a[1] || a[0] - b[0]).slice(0, LISTED);
  const key = JSON.stringify([top, map.only, counts.size]);
  if (key === listed) return;
  listed = key;
  const box = map.section.querySelector("[data-types]");
  const had = box.contains(document.activeElement) ? document.activeElement.dataset.only : null;
  box.replaceChildren(...top.map(([type, count]) => {
    const item = document.createElement("li"), button = document.createElement("button");
    button.type = "button";
    button.dataset.only = type;
    button.setAttribute("aria-pressed", String(map.only === type));
    button.textContent = `${map.data.types[type][1]} (${count})`;
    item.append(button);
    return item;
  }));
  if (counts.size > top.length) {
    const rest = document.createElement("li");
    rest.textContent = `and ${counts.size - top.length} more; zoom in to see them`;
    box.append(rest);
  }
  if (had !== null) box.querySelector(`[data-only="${had}"]`)?.focus({ preventScroll: true });
}

function zoomAt(factor, px, py) {
  const w = map.canvas.clientWidth, h = map.canvas.clientHeight;
  const zoom = Math.min(MOST_ZOOM, Math.max(1, map.zoom * factor));
  const bx = (px - w / 2) / size(), by = (py - h / 2) / size();
  map.x += bx / map.zoom - bx / zoom;
  map.y += by / map.zoom - by / zoom;
  map.zoom = zoom;
  settle();
}
function settle() {
  if (map.zoom === 1) { map.x = map.y = 0.5; }
  map.x = Math.min(1, Math.max(0, map.x));
  map.y = Math.min(1, Math.max(0, map.y));
  // At its smallest there is nothing to drag, and a finger should scroll the page instead.
  map.canvas.style.touchAction = map.zoom > 1 ? "none" : "pan-y";
  draw();
}
function zoomMiddle(factor) { zoomAt(factor, map.canvas.clientWidth / 2, map.canvas.clientHeight / 2); }
function whole() { map.zoom = 1; map.only = -1; settle(); }

function pick(i) {
  map.pick = i;
  const x = across(i), y = down(i), w = map.canvas.clientWidth, h = map.canvas.clientHeight;
  if (x < 0 || y < 0 || x > w || y > h) { map.x = map.data.x[i] / 10000; map.y = map.data.y[i] / 10000; }
  say(`${map.data.types[map.data.type[i]][1]}${map.data.rendered[i] ? ", rendered" : ""}`);
  tell(i);
  settle();
}
// What is picked stands beside the picture. Answers may come late: only the last pick counts.
async function tell(i) {
  let told = "";
  try {
    told = await server.picked(map.data.ids[i]);
  } catch (error) {
    say("The photo did not arrive. See that simsearch is still running.");
  }
  if (map.pick === i) map.section.querySelector("[data-picked]").innerHTML = told;
}
function nearest(px, py, reach) {
  const room = new Set(withRoom(inView()));
  let best = -1, least = Infinity;
  for (const i of inView()) {
    if (!isBright(i)) continue;
    const far = Math.hypot(across(i) - px, down(i) - py) - (room.has(i) ? PICTURE / 2 : 0);
    if (far < least) { least = far; best = i; }
  }
  return least <= reach ? best : -1;
}
// The next bright photo in a direction: near, and more ahead than aside.
function step(dx, dy) {
  const px = map.pick >= 0 ? across(map.pick) : map.canvas.clientWidth / 2;
  const py = map.pick >= 0 ? down(map.pick) : map.canvas.clientHeight / 2;
  let best = -1, least = Infinity;
  for (let i = 0; i < map.count; i++) {
    if (i === map.pick || !isBright(i)) continue;
    const ax = across(i) - px, ay = down(i) - py;
    const ahead = ax * dx + ay * dy, aside = Math.abs(ax * dy - ay * dx);
    if (ahead <= 0 || aside > ahead * 1.5) continue;
    if (ahead + 2 * aside < least) { least = ahead + 2 * aside; best = i; }
  }
  if (best >= 0) pick(best);
}

const KEYS = {
  ArrowLeft: () => step(-1, 0), ArrowRight: () => step(1, 0),
  ArrowUp: () => step(0, -1), ArrowDown: () => step(0, 1),
  "+": () => zoomPicked(1.5), "=": () => zoomPicked(1.5), "-": () => zoomPicked(1 / 1.5), 0: whole,
  Enter: () => {
    if (map.pick < 0) return;
    document.querySelector("#ss-map-picked a[data-type]")?.click();
  },
};
function zoomPicked(factor) {
  if (map.pick >= 0) zoomAt(factor, across(map.pick), down(map.pick));
  else zoomMiddle(factor);
}

function listen() {
  const { canvas, section, fingers } = map;
  canvas.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || !KEYS[event.key]) return;
    event.preventDefault();
    KEYS[event.key]();
  });
  canvas.addEventListener("wheel", (event) => {
    // Without Ctrl (or a pinch on a touchpad, which says the same) the wheel scrolls the page.
    if (!event.ctrlKey) return;
    event.preventDefault();
    zoomAt(Math.exp(-event.deltaY / 300), event.offsetX, event.offsetY);
  }, { passive: false });
  let start = null, moved = false;
  const spot = (event) => ({ x: event.offsetX, y: event.offsetY });
  canvas.addEventListener("pointerdown", (event) => {
    fingers.set(event.pointerId, spot(event));
    if (fingers.size === 1) { start = spot(event); moved = false; }
    canvas.setPointerCapture(event.pointerId);
  });
  canvas.addEventListener("pointermove", (event) => {
    const before = fingers.get(event.pointerId);
    if (!before) return;
    const now = spot(event);
    if (Math.hypot(now.x - start.x, now.y - start.y) > 6) moved = true;
    if (fingers.size === 1 && map.zoom > 1 && moved) {
      map.x -= (now.x - before.x) / size() / map.zoom;
      map.y -= (now.y - before.y) / size() / map.zoom;
    } else if (fingers.size === 2) {
      const other = [...fingers].find(([id]) => id !== event.pointerId)[1];
      const spread = (a, b) => Math.max(10, Math.hypot(a.x - b.x, a.y - b.y));
      moved = true;
      zoomAt(spread(now, other) / spread(before, other), (now.x + other.x) / 2, (now.y + other.y) / 2);
    }
    fingers.set(event.pointerId, now);
    settle();
  });
  const lift = (event) => {
    const was = fingers.delete(event.pointerId);
    if (!was || moved || event.type === "pointercancel") return;
    const i = nearest(event.offsetX, event.offsetY, 18);
    if (i >= 0) pick(i);
  };
  canvas.addEventListener("pointerup", lift);
  canvas.addEventListener("pointercancel", lift);
  canvas.addEventListener("dblclick", (event) => zoomAt(2, event.offsetX, event.offsetY));
  section.addEventListener("click", (event) => {
    const zoom = event.target.closest("[data-zoom]"), only = event.target.closest("[data-only]");
    if (zoom) ({ in: () => zoomPicked(1.6), out: () => zoomPicked(1 / 1.6), all: whole })[zoom.dataset.zoom]();
    if (only) {
      const type = Number(only.dataset.only);
      map.only = map.only === type ? -1 : type;
      if (map.only >= 0) pick(map.data.type.indexOf(type));
      draw();
    }
  });
}

function look() {
  const section = element.querySelector(".ss-map");
  if (section && (!map || map.section !== section)) { listed = ""; begin(section); }
}
window.addEventListener("ss-shown", () => { if (map) { map.only = -1; readShown(); draw(); } });
watch("value", look);
// The layout is asked for when the picture is first looked at, and not before.
let wanted = false;
new IntersectionObserver((seen) => {
  if (!wanted && seen.some((one) => one.isIntersecting)) {
    wanted = true;
    trigger("wanted", {});
  }
}).observe(element);
look();
