// Tubes along a canal's line: an oval at every station, as triangles at any fineness. Lengths mm.

const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const unit = (v) => { const long = Math.hypot(...v) || 1; return v.map((x) => x / long); };
const minus = (a, b) => a.map((v, k) => v - b[k]);

// A line by station: place, two directions across. Goes straight on beyond its ends.
export class Line {
  constructor(z, centre, axis) {
    this.z = z; this.centre = centre;
    const n = z.length, tangent = z.map((_, i) => unit(minus(centre[Math.min(i + 1, n - 1)], centre[Math.max(i - 1, 0)])));
    let before = axis[0];
    this.tangent = tangent;
    this.one = axis.map((way, i) => {
      const signed = way.reduce((sum, v, k) => sum + v * before[k], 0) < 0 ? way.map((v) => -v) : way, along = signed.reduce((sum, v, k) => sum + v * tangent[i][k], 0);
      before = unit(signed.map((v, k) => v - along * tangent[i][k]));
      return before;
    });
    this.two = this.one.map((way, i) => cross(tangent[i], way));
    const few = Math.min(10, n - 1);
    this.ends = [unit(minus(centre[few], centre[0])), unit(minus(centre[n - 1], centre[n - 1 - few]))];
  }

  at(z) {
    const all = this.z, n = all.length, inside = Math.min(Math.max(z, all[0]), all[n - 1]);
    let low = Math.min(Math.floor(((inside - all[0]) / (all[n - 1] - all[0])) * (n - 1)), n - 2);
    while (low > 0 && all[low] > inside) low--;
    while (low < n - 2 && all[low + 1] < inside) low++;
    const share = (inside - all[low]) / (all[low + 1] - all[low]), mix = (rows) => rows[low].map((v, k) => v + share * (rows[low + 1][k] - v));
    const place = mix(this.centre), beyond = z - inside;
    if (beyond) { const way = this.ends[beyond < 0 ? 0 : 1]; place.forEach((v, k) => { place[k] = v + beyond * way[k]; }); }
    return { place, one: mix(this.one), two: mix(this.two) };
  }
}

// Half widths by station as a function.
export function along(z, values) {
  return (at) => {
    if (at <= z[0]) return values[0];
    let i = 1;
    while (i < z.length - 1 && z[i] < at) i++;
    const share = Math.min((at - z[i - 1]) / (z[i] - z[i - 1]), 1);
    return values[i - 1] + share * (values[i] - values[i - 1]);
  };
}

// From station `low` to `high`: ovals of half widths a(z), b(z); closed at both ends when `closed`.
export function tube(line, low, high, a, b, rings, around, closed = true) {
  const count = (rings + 1) * around + (closed ? 2 : 0), positions = new Float32Array(3 * count), normals = new Float32Array(3 * count), shares = new Float32Array(count), ways = new Float32Array(2 * count);
  const index = new Uint32Array(6 * rings * around + (closed ? 6 * around : 0)), turn = Array.from({ length: around }, (_, k) => [Math.cos((2 * Math.PI * k) / around), Math.sin((2 * Math.PI * k) / around)]);
  for (let r = 0; r <= rings; r++) {
    const z = low + (r / rings) * (high - low), { place, one, two } = line.at(z), [ha, hb] = [a(z), b(z)];
    for (let k = 0; k < around; k++) {
      const v = r * around + k, [c, s] = turn[k], long = Math.hypot(c / ha, s / hb) || 1;
      for (let d = 0; d < 3; d++) {
        positions[3 * v + d] = place[d] + ha * c * one[d] + hb * s * two[d];
        normals[3 * v + d] = ((c / ha) * one[d] + (s / hb) * two[d]) / long;
      }
      shares[v] = r / rings; ways.set([ha * c, hb * s], 2 * v);
    }
  }
  let at = 0;
  for (let r = 0; r < rings; r++) {
    for (let k = 0; k < around; k++) {
      const p = r * around + k, q = r * around + ((k + 1) % around);
      index.set([p, q, q + around, p, q + around, p + around], at); at += 6;
    }
  }
  if (closed) {
    for (const [end, z] of [[0, low], [1, high]]) {
      const v = (rings + 1) * around + end, { place } = line.at(z), way = line.ends[end], row = end ? rings * around : 0;
      for (let d = 0; d < 3; d++) { positions[3 * v + d] = place[d]; normals[3 * v + d] = end ? way[d] : -way[d]; }
      shares[v] = end;
      for (let k = 0; k < around; k++) { const [p, q] = [row + k, row + ((k + 1) % around)]; index.set(end ? [v, p, q] : [v, q, p], at); at += 3; }
    }
  }
  return { positions, normals, shares, ways, index };
}

// Normals of a surface given by its corners and triangles.
export function normalsOf(positions, index) {
  const normals = new Float32Array(positions.length);
  for (let i = 0; i < index.length; i += 3) {
    const corner = (k) => [positions[3 * index[i + k]], positions[3 * index[i + k] + 1], positions[3 * index[i + k] + 2]], [a, b, c] = [corner(0), corner(1), corner(2)], way = cross(minus(b, a), minus(c, a));
    for (let k = 0; k < 3; k++) for (let d = 0; d < 3; d++) normals[3 * index[i + k] + d] += way[d];
  }
  for (let v = 0; v < normals.length; v += 3) { const long = Math.hypot(normals[v], normals[v + 1], normals[v + 2]) || 1; normals[v] /= long; normals[v + 1] /= long; normals[v + 2] /= long; }
  return normals;
}

export function unpacked(text, Kind) { return new Kind(Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer); }
