// A film as the server packs it (see canalwright.web.film), and what it says at a time and a depth.

const MISSING = -32768;

export class Film {
  constructor(told) {
    Object.assign(this, told);
    for (const name of ["axis", "surface", "pressure"]) this[name] = unpacked(told[name]);
  }

  // Frame before `time` and how far it is to the next, 0 to 1.
  frame(time) {
    let low = 0, high = this.time.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (this.time[middle] <= time) low = middle; else high = middle;
    }
    const span = this.time[high] - this.time[low];
    return [low, high, span > 0 ? Math.min(Math.max((time - this.time[low]) / span, 0), 1) : 0];
  }

  // One value over time, such as `top`; null where it is not there.
  at(name, time) {
    const [a, b, share] = this.frame(time), values = this[name];
    if (values[a] === null) return share > 0.5 ? values[b] : null;
    return values[b] === null ? (share < 0.5 ? values[a] : null) : values[a] + share * (values[b] - values[a]);
  }

  // A profile over depth at a time, one number for each of `depth`.
  profile(name, time) {
    const [a, b, share] = this.frame(time), map = this[name], wide = map.wide, row = new Float32Array(wide);
    for (let i = 0; i < wide; i++) row[i] = map.values[a * wide + i] * (1 - share) + map.values[b * wide + i] * share;
    return row;
  }

  // One place over the whole time, one number for each of `time`.
  course(name, depth) {
    const [i, j, share] = this.place(depth), map = this[name];
    return this.time.map((_, t) => map.values[t * map.wide + i] * (1 - share) + map.values[t * map.wide + j] * share);
  }

  // Stations on both sides of a depth (depths fall along the arrays).
  place(depth) {
    const all = this.depth, step = (all[0] - all[all.length - 1]) / (all.length - 1);
    const exact = Math.min(Math.max((all[0] - depth) / step, 0), all.length - 1), low = Math.min(Math.floor(exact), all.length - 2);
    return [low, low + 1, exact - low];
  }

  value(row, depth) {
    const [i, j, share] = this.place(depth);
    return row[i] * (1 - share) + row[j] * share;
  }

  act(time) {
    const found = this.acts.findIndex((act) => time < act.end);
    return found < 0 ? this.acts.length - 1 : found;
  }
}

export function between(xs, ys, x) {
  const rising = xs[0] < xs[xs.length - 1];
  for (let i = 1; i < xs.length; i++) {
    if (rising ? x <= xs[i] : x >= xs[i]) {
      const share = (x - xs[i - 1]) / (xs[i] - xs[i - 1]);
      return ys[i - 1] + Math.min(Math.max(share, 0), 1) * (ys[i] - ys[i - 1]);
    }
  }
  return ys[ys.length - 1];
}

export function colour(scale, temperature) {
  const share = Math.min(Math.max((temperature - scale.cool) / (scale.hot - scale.cool), 0), 1) ** scale.bend;
  return scale.colours[Math.round(share * (scale.colours.length - 1))];
}

function unpacked({ scale, shape, data }) {
  const bytes = Uint8Array.from(atob(data), (c) => c.charCodeAt(0));
  const whole = new Int16Array(bytes.buffer), values = new Float32Array(whole.length);
  for (let i = 0; i < whole.length; i++) values[i] = whole[i] === MISSING ? NaN : whole[i] / scale;
  return { values, wide: shape[1] };
}
