// Opening a scan: a path of the server's machine, files sent part by part, or the practice scan; then wait with progress until it is read.

const PART = 1 << 20, SENDERS = 3, POLL = 300;
const $ = (id) => document.getElementById(id);
const words = () => JSON.parse($("sv-open-words").dataset.words);
let stopped = false;

document.addEventListener("submit", (event) => {
  if (event.target.dataset?.open !== "path") return;
  event.preventDefault();
  begin(() => ask("/scan/open", { path: $("sv-path").value, voxel: voxel() }));
});
document.addEventListener("click", (event) => {
  const target = event.target.closest?.("[data-open=practice], [data-close], [data-cancel]");
  if (!target) return;
  if (target.dataset.close) ask(`/scan/${target.dataset.close}/close`, {}).then(() => target.closest("li").remove(), () => location.reload());
  else if (target.dataset.open) begin(() => ask("/scan/practice", {}));
});
document.addEventListener("change", (event) => {
  if (!["sv-files", "sv-folder"].includes(event.target.id) || !event.target.files.length) return;
  const files = [...event.target.files];
  send(files).finally(() => { event.target.value = ""; });
});
for (const name of ["dragover", "dragleave", "drop"]) {
  document.addEventListener(name, (event) => {
    const place = $("drop-scan");
    if (!place) return;
    event.preventDefault();
    place.classList.toggle("over", name === "dragover");
    if (name === "drop") dropped(event.dataTransfer).then((files) => { if (files.length) send(files); });
  });
}

// Files and the files in folders of a drop.
async function dropped(transfer) {
  const files = [], entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  const walk = async (entry) => {
    if (entry.isFile) return files.push(await new Promise((good, bad) => entry.file(good, bad)));
    const reader = entry.createReader();
    for (;;) {
      const some = await new Promise((good, bad) => reader.readEntries(good, bad));
      if (!some.length) return;
      for (const one of some) await walk(one);
    }
  };
  for (const entry of entries) await walk(entry);
  return files;
}

const voxel = () => $("sv-voxel").value.trim() || null;

async function ask(path, content) {
  const answer = await fetch(path, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(content) });
  const told = await answer.json();
  if (!answer.ok) throw Object.assign(new Error("refused"), { problems: told.problems });
  return told;
}

async function begin(open) {
  stopped = false;
  $("sv-problem").hidden = true;
  try {
    const { key } = await open();
    await follow(key);
  } catch (error) { tell(error.problems ?? [words().gone]); }
}

async function send(files) {
  const wanted = files.filter((f) => !f.name.startsWith(".") && f.name.toUpperCase() !== "DICOMDIR");
  const whole = wanted.reduce((sum, f) => sum + f.size, 0) || 1, folder = wanted[0].webkitRelativePath?.split("/")[0];
  const name = wanted.length > 1 ? folder || `${wanted[0].name} …` : wanted[0].name;
  await begin(async () => {
    const { key } = await ask("/scan/receive", { name, voxel: voxel() });
    let sent = 0, next = 0;
    const lane = async () => {
      while (next < wanted.length && !stopped) {
        const number = next++, file = wanted[number];
        for (let offset = 0; offset < file.size && !stopped; offset += PART) {
          const body = await file.slice(offset, offset + PART).arrayBuffer();
          const answer = await fetch(`/scan/${key}/part?number=${number}&offset=${offset}&name=${encodeURIComponent(file.name)}`, { method: "POST", body });
          if (!answer.ok) throw Object.assign(new Error("refused"), await answer.json());
          sent += body.byteLength;
          progress(words().sending.replace("{name}", name).replace("{share}", Math.round((100 * sent) / whole)), sent / whole, key);
        }
      }
    };
    await Promise.all(Array.from({ length: SENDERS }, lane));
    if (!stopped) await ask(`/scan/${key}/read`, { voxel: voxel() });
    return { key };
  });
}

async function follow(key) {
  while (!stopped) {
    const answer = await fetch(`/scan/${key}/state.json`);
    if (!answer.ok) return progress("", 0, "");
    const told = await answer.json();
    if (told.phase === "ready") return location.assign(`/scan/${key}`);
    if (told.phase === "failed") {
      progress("", 0, "");
      if (told.reading.error) tell([told.reading.error]);
      ask(`/scan/${key}/close`, {}).catch(() => {});
      return;
    }
    progress(`${told.reading?.told || ""} ${told.reading?.seconds ?? ""} s`, told.reading?.share ?? null, key);
    await new Promise((good) => setTimeout(good, POLL));
  }
}

function progress(text, share, key) {
  const box = $("sv-progress");
  box.hidden = !key;
  if (!key) return;
  if (!box.firstChild) {
    const cancel = Object.assign(document.createElement("button"), { type: "button", className: "button small", textContent: words().cancel });
    cancel.dataset.cancel = "";
    cancel.addEventListener("click", () => { stopped = true; box.hidden = true; ask(`/scan/${box.dataset.key}/close`, {}).catch(() => {}); });
    box.append(document.createElement("p"), Object.assign(document.createElement("progress"), { max: 1, ariaLabel: text }), cancel);
  }
  box.dataset.key = key;
  box.querySelector("p").textContent = text;
  const bar = box.querySelector("progress");
  if (share === null) bar.removeAttribute("value"); else bar.value = share;
}

function tell(problems) {
  const box = $("sv-problem"), list = document.createElement("ul");
  progress("", 0, "");
  list.append(...problems.map((problem) => Object.assign(document.createElement("li"), { textContent: problem })));
  box.replaceChildren(Object.assign(document.createElement("p"), { textContent: box.dataset.title }), list);
  box.hidden = false;
}
