// The root surface of a run in three dimensions: temperature by level and direction over time, as the heat page has it. mm, s, deg C.

import { colour } from "./film.js";

export class Round {
  // `run` as `heat/film.json` tells it; `line` and `canal` of the drawing, whose greatest width may point the other way at some stations.
  constructor(run, line, canal) {
    [this.bands, this.sectors] = run.bands;
    Object.assign(this, { time: run.time, band: run.band, z: canal.z, surface: Uint8Array.from(atob(run.surface), (c) => c.charCodeAt(0)) });
    this.turned = canal.axis.map((way, i) => way.reduce((sum, v, k) => sum + v * line.one[i][k], 0) < 0);
  }

  // Temperatures (bands x sectors) at a time.
  at(time) {
    const { time: all, bands, sectors, surface } = this, size = bands * sectors;
    let next = all.findIndex((t) => t >= time);
    if (next < 0) next = all.length - 1;
    const before = Math.max(next - 1, 0), span = all[next] - all[before], share = span > 0 ? Math.min(Math.max((time - all[before]) / span, 0), 1) : 0;
    return Float32Array.from({ length: size }, (_, k) => 32 + (surface[before * size + k] * (1 - share) + surface[next * size + k] * share) / 10);
  }

  // Colours from station `low` to `top`, one row for each sector.
  colours(values, scale, low, top, stops) {
    const { bands, sectors, band } = this, made = [];
    for (let sector = 0; sector < sectors; sector++) for (let i = 0; i < stops; i++) {
      const z = low + (i / (stops - 1)) * (top - low), exact = Math.min(Math.max(z / band - 0.5, 0), bands - 1), b = Math.min(Math.floor(exact), bands - 2);
      const way = this.turned[this.station(z)] ? (sector + sectors / 2) % sectors : sector, share = exact - b;
      made.push(colour(scale, values[b * sectors + way] * (1 - share) + values[(b + 1) * sectors + way] * share));
    }
    return made;
  }

  station(z) {
    const found = this.z.findIndex((at) => at >= z);
    return found < 0 ? this.z.length - 1 : found;
  }

  // The warmest place now: value, level from the terminus, direction in degrees from the greatest width.
  warmest(values) {
    let most = 0;
    values.forEach((value, k) => { if (value > values[most]) most = k; });
    return { value: values[most], level: (Math.floor(most / this.sectors) + 0.5) * this.band, angle: ((most % this.sectors) + 0.5) * (360 / this.sectors) };
  }
}
