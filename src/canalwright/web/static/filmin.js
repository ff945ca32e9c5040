// Films on their way in: loaded from a file, or kept with the case; greys of 16 bits to a picture. A film on its way is not there yet: until
// it is, the one before it is seen and takes no mark, which would go away with it.

const MOST = 48 * 1024 * 1024;
const byId = (id) => document.getElementById(id);

const empty = () => ({ known: [], known_mm: "", reference: [], canal: [], terminus: [], end: [], pair: [] });
export function blank() { return { told: null, greys: null, picture: null, marks: empty(), before: [], zoom: 1, x: 0, y: 0, low: 0, high: 65535, notes: [], found: [] }; }

export const films = [blank(), blank()];
export const onItsWay = [false, false];
export const hooks = { come() {}, wait() {}, taken() {} }; // a film is there; a place waits for one, or waits no more; the server is to be told
const coming = [0, 0];

export async function load(file, at) {
  const wrong = byId("rg-wrong");
  wrong.textContent = "";
  if (file.size > MOST) { wrong.textContent = byId("rg-file").dataset.large; return; }
  const mine = ++coming[at];
  awaited(at, true);
  try {
    const answer = await fetch(`/radiograph?name=${encodeURIComponent(file.name)}`, { method: "POST", body: await file.arrayBuffer() });
    const told = await answer.json().catch(() => ({ wrong: answer.statusText }));
    if (!answer.ok || told.wrong) { wrong.textContent = told.wrong; return; }
    if (await fill(at, told, mine)) hooks.taken(at, told.id);
  } catch {
    wrong.textContent = byId("rg-file").dataset.failed;
  } finally {
    if (mine === coming[at]) { awaited(at, false); kept(at); }
  }
}

// The film that the case had when the page was opened, where nothing has taken its place.
export async function kept(at) {
  const told = (window.cwFilms ?? [])[at];
  if (!told || films[at].told || onItsWay[at]) return;
  const mine = ++coming[at];
  awaited(at, true);
  try {
    if (await fill(at, told, mine)) hooks.taken(at, told.id);
  } catch {
    byId("rg-wrong").textContent = byId("rg-file").dataset.unread;
  } finally {
    if (mine === coming[at]) awaited(at, false);
  }
}

// Whether it came to be shown: not where another film was asked for meanwhile.
async function fill(at, told, mine) {
  const answer = await fetch(`/radiograph/${told.id}/greys`);
  if (!answer.ok) throw new Error(answer.statusText);
  const greys = new Uint16Array(await answer.arrayBuffer()), marks = told.marks ?? {};
  if (mine !== coming[at]) return false;
  const single = Object.fromEntries(["reference", "terminus", "end"].map((kind) => [kind, marks[kind] ? [marks[kind]] : []]));
  films[at] = Object.assign(blank(), { told, greys, low: told.low, high: told.high, marks: { ...empty(), ...marks, ...single } });
  paint(films[at]);
  hooks.come(at);
  return true;
}

function awaited(at, yes) {
  onItsWay[at] = yes;
  hooks.wait(at);
}

// Greys of 16 bits through the window to 8.
export function paint(one) {
  const { width, height } = one.told, image = new ImageData(width, height), out = new Uint32Array(image.data.buffer);
  const span = Math.max(one.high - one.low, 1), table = new Uint32Array(65536);
  for (let i = 0; i < 65536; i++) {
    const grey = Math.min(Math.max(Math.round(255 * (i - one.low) / span), 0), 255);
    table[i] = 0xff000000 | (grey << 16) | (grey << 8) | grey;
  }
  for (let i = 0; i < out.length; i++) out[i] = table[one.greys[i]];
  one.picture ??= Object.assign(document.createElement("canvas"), { width, height });
  one.picture.getContext("2d").putImageData(image, 0, 0);
}
