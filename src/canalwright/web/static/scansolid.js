// The tooth of a scan in three dimensions: its surface like glass, the canals in it, the cursor.

import { Solid } from "./solid.js";
import { Line, along, normalsOf, tube, unpacked } from "./tube.js";

const CANALS = ["#2aa79f", "#d9773f", "#8f6fe0", "#c79a1e", "#4a86e0", "#d0568a"];
const SIZES = [[320, 96], [120, 40], [48, 20]]; // rings, corners of a ring

export async function scanSolid(viewer, host) {
  const solid = viewer.solid ?? (await Solid.make(host, viewer.words));
  solid.resume();
  const key = `${viewer.base}:${viewer.revision}`;
  if (solid.shownFor === key) return solid;
  solid.shownFor = key;
  const bodies = viewer.canals.map((canal, i) => {
    const line = new Line(canal.z, canal.centre, canal.axis), [a, b] = [canal.major, canal.minor].map((w) => along(canal.z, w.map((v) => v / 2)));
    return { name: `canal ${i}`, words: canal.name, colour: CANALS[i % CANALS.length], opacity: 1, levels: SIZES.map(([rings, around]) => tube(line, canal.z[0], canal.z.at(-1), a, b, rings, around)) };
  });
  if (viewer.surface) {
    const told = await viewer.ask("surface.json");
    const levels = (told?.levels ?? []).map(({ vertices, faces }) => { const positions = unpacked(vertices, Float32Array), index = unpacked(faces, Uint32Array); return { positions, index, normals: normalsOf(positions, index) }; });
    if (levels.length) bodies.push({ name: "tooth", words: viewer.words.tooth, colour: "#d9cdb4", opacity: 0.34, levels });
  }
  if (bodies.length) solid.set(bodies);
  else solid.line.textContent = viewer.words.none;
  return solid;
}
