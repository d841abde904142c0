// Sends chosen, taken or dropped photos to the server one by one and says in words what
// happens. Anything that goes wrong is written into the page, where it stays.
const status = element.querySelector("[data-status]");
const problem = element.querySelector("[data-problem]");
const drop = element.querySelector("[data-drop]");

// A camera button where there is likely a camera behind the screen; elsewhere it would only
// open the same window as the other button.
const touch = navigator.maxTouchPoints > 0 && Math.min(screen.width, screen.height) < 1000;
drop.classList.toggle("ss-touch", touch);

function report(lines) {
  problem.replaceChildren(...lines.map((line) => {
    const p = document.createElement("p");
    p.textContent = line;
    return p;
  }));
  problem.hidden = lines.length === 0;
}

async function send(file, limit) {
  if (file.size > limit) {
    const size = (file.size / 1048576).toFixed(0);
    throw `${file.name} is ${size} MB, more than this page takes. ` +
      `Save it smaller and choose it again.`;
  }
  let sent;
  try {
    sent = await upload(file);
  } catch (error) {
    sent = null;
  }
  if (!sent || !sent.path) {
    throw `${file.name} did not reach simsearch. See that it is still running, then choose it again.`;
  }
  return { path: sent.path, name: file.name };
}

async function take(list, limit) {
  const files = Array.from(list);
  const arrived = [];
  const lines = [];
  report([]);
  for (const [place, file] of files.entries()) {
    status.textContent = `Reading photo ${place + 1} of ${files.length} …`;
    try {
      arrived.push(await send(file, limit));
    } catch (line) {
      lines.push(String(line));
    }
  }
  status.textContent = "";
  if (lines.length) report([...lines, "Nothing was lost."]);
  if (arrived.length) trigger("added", { files: arrived });
}

element.querySelectorAll("input[type=file]").forEach((input) => {
  input.addEventListener("change", () => {
    // Copy before clearing: clearing lets the same photo be chosen twice in a row.
    const files = Array.from(input.files);
    input.value = "";
    take(files, Number(input.dataset.limit));
  });
});
["dragenter", "dragover"].forEach((name) => drop.addEventListener(name, (event) => {
  event.preventDefault();
  drop.classList.add("ss-over");
}));
["dragleave", "drop"].forEach((name) => drop.addEventListener(name, (event) => {
  event.preventDefault();
  drop.classList.remove("ss-over");
}));
drop.addEventListener("drop", (event) => {
  const limit = Number(element.querySelector("input[type=file]").dataset.limit);
  take(event.dataTransfer.files, limit);
});
