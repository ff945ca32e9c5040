"""The study behind the figures of the assessment room: `python -m tests.assessment.study` writes `study.json` beside this file.

Invented teeth with known fillings, filmed and scanned by the models of `imaging.phantom`, read as a clinician would have them read:
marks are off by 1.5 pixels, the scale by 1 %. Nothing was set by these teeth: the room was built on seeds below 200.
A test repeats some of the rows, so that the table cannot grow old unseen.
"""

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from canalwright.assessment import film, scan
from canalwright.imaging.phantom.filling import Bubble, Filling, station_of
from canalwright.imaging.phantom.pair import CONE_BEAM, Artefact, pair
from canalwright.imaging.phantom.projection import Beam, Projected, film_of
from canalwright.imaging.phantom.scan import CanalShape, RootShape, Scanner, TrueCanal, make, random_shape
from canalwright.imaging.radiograph.image import Scale
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
OUT = Path(__file__).with_name("study.json")
FILMS = range(200, 240)
SCANS = range(4)
VISIBLE = 0.2
"""A ball of nothing of this diameter [mm] or more is a void to the truth of the study."""
SIZES = (0.1, 0.15, 0.2, 0.3, 0.4)


def filmed(seed: int) -> tuple[Projected, Filling, bool, np.random.Generator]:
    """A film, its filling, whether its canal tapers, and the generator for the marks."""
    rng = np.random.default_rng(5000 + seed)
    (shape,), root = random_shape(seed)
    tapered = bool(rng.random() > 0.15)
    if not tapered:
        shape = CanalShape(0.6, 0.0, (1.1, 1.1), 0.0, shape.aside, shape.bend, shape.curved, shape.towards)
    over = bool(rng.random() < 0.15)
    end = 0.0 if over else float(rng.uniform(0.1, 3.0))
    count = int(rng.integers(1, 3)) if rng.random() < 0.4 else 0
    bubbles = tuple(Bubble(float(rng.uniform(end + 0.8, 7.2)), float(rng.uniform(0.15, 0.5))) for _ in range(count))
    filling = Filling(end, 8.0, bubbles, (), float(rng.uniform(0.4, 0.8)) if over else 0.0)
    beam = Beam(turn=float(rng.uniform(-90, 90)), tilt=float(rng.uniform(-8, 8)))
    return film_of(make((shape,), root), filling, beam, seed, cell=0.12), filling, tapered, rng


def true_short(shot: Projected, filling: Filling) -> float:
    """Length on the film from the end of the filling to where its line leaves the root's shadow, mm; beyond: negative."""
    z = np.arange(-1.5, 2.0, 0.02)
    places = np.array([shot.at(float(a)) for a in z])
    inside = map_coordinates(shot.root, [places[:, 1], places[:, 0]], order=1) > 0.25
    terminus = float(z[np.argmax(inside)])
    if filling.puff:
        return -0.9 * filling.puff
    way = np.array([shot.at(float(a)) for a in np.linspace(terminus, filling.end, 60)])
    return float(
        np.sign(filling.end - terminus) * np.linalg.norm(np.diff(way, axis=0), axis=1).sum() * shot.scale.value
    )


def film_row(seed: int) -> dict[str, Any]:
    """One film: the truth and what was read."""
    shot, filling, tapered, rng = filmed(seed)
    line = [tuple(shot.at(z) + rng.normal(0, 1.5, 2)) for z in (7.5, 5.0, 2.5, 0.3)]
    scale = Scale(shot.scale.value * float(1 + rng.normal(0, 0.01)), 0.01 * shot.scale.value, "marked")
    short = true_short(shot, filling)
    good = 0.0 <= short <= 2.0 and tapered and not any(b.size >= VISIBLE for b in filling.bubbles)
    row: dict[str, Any] = {
        "seed": seed, "short": round(short, 3), "good": good, "tapered": tapered,
        "bubbles": [[round(b.z, 2), round(b.size, 3)] for b in filling.bubbles], "puff": round(filling.puff, 2),
    }  # fmt: skip
    try:
        found = film.read(shot.film, scale, film.Marks.of(line), tooth=11, canal="only").assessment
    except film.FilmError as error:
        return row | {"refused": str(error)}
    q = found.to_terminus
    return row | {
        "found": round(q.value, 3), "low": round(q.low, 3), "high": round(q.high, 3), "chance": round(found.grade.chance.value, 3),
        "criteria": [round(c.chance.value, 3) for c in found.grade.criteria], "beyond": found.beyond.sight.value,
        "voids": [[round(v.z, 2), round(v.size.value, 3)] for v in found.voids], "smallest": round(found.smallest_void.value, 3),
    }  # fmt: skip


def scan_row(seed: int, kind: str) -> dict[str, Any]:
    """One tooth scanned before and after: five voids of known size."""
    rng = np.random.default_rng(9000 + seed)
    shape = CanalShape(apical=0.5, taper=0.08, ratio=(1.2, 1.4), bend=10, curved=4.0, aside=(0.05, 0.0))
    made = make((shape,), RootShape(height=6.0, half=(1.1, 1.3), growth=0.05))
    sizes = rng.permutation(SIZES)
    bubbles = tuple(Bubble(1.3 + 0.85 * i, float(d)) for i, d in enumerate(sizes))
    filling = Filling(0.5, 5.4, bubbles)
    if kind == "micro-CT":
        scanner, artefact = Scanner(voxel=0.06, blur=0.045, noise=60.0, oversample=2), Artefact()
    else:
        scanner, artefact = Scanner(voxel=0.15, blur=0.12, noise=120.0, oversample=3), CONE_BEAM
    shots = pair(made, filling, scanner, artefact, seed)
    true = made.truth[0]
    line = scan.CanalLine(true.z, true.centre, true.minor, true.major, true.wall)
    found = scan.read(shots.before, shots.after, line, basis=kind, tooth=11, canal="only").assessment
    rows = []
    for b in bubbles:
        near = [v for v in found.voids if abs(v.z - b.z) < 0.3]
        best = max(near, key=lambda v: v.signal, default=None)
        volume = None if best is None else [round(getattr(best.volume, k), 6) for k in ("value", "low", "high")]
        rows.append({"size": b.size, "true": round(b.volume, 6), "found": volume})
    false = sum(all(abs(v.z - b.z) >= 0.3 for b in bubbles) for v in found.voids)
    q, share = found.to_terminus, found.void_share
    whole = _lumen(true, 0.0, 99.0)
    seen = sum(s.volume.value for s in found.stations if s.volume is not None)
    return {
        "seed": seed, "kind": kind, "wide": round(_wide(shots.after, true, shots.turn, shots.shift), 3),
        "end": [round(getattr(q, k), 3) for k in ("value", "low", "high")], "voids": rows, "false": false,
        "smallest": round(found.smallest_void.value, 3), "how": found.how, "lumen": round(seen / whole - 1, 4),
        "share": [round(getattr(share, k), 5) for k in ("value", "low", "high")] if share else None,
        "true share": round(sum(b.volume for b in bubbles) / _lumen(true, 0.5, 5.4), 5),
    }  # fmt: skip


def _wide(after: Scan, true: TrueCanal, turn: Array, shift: Array) -> float:
    """How much wider the filling shows than it is, where an eye draws its edge: a quarter of the way from dentine to its brightest."""
    nz, ny, nx = after.shape
    k, j, i = np.meshgrid(np.arange(nz), np.arange(ny), np.arange(nx), indexing="ij")
    points = after.to_patient(np.column_stack([i.ravel(), j.ravel(), k.ravel()]))
    z, away = station_of((points - shift) @ turn, true)
    near = (z > 1.0) & (z < 4.5) & (away < 1.0)
    grey = after.array.ravel()
    edge = 1700.0 + 0.25 * (float(np.quantile(grey[near], 0.995)) - 1700.0)
    seen = float((near & (grey > edge)).sum()) * float(np.prod(after.spacing))
    return float(np.sqrt(seen / _lumen(true, 1.0, 4.5)))


def _lumen(true: TrueCanal, low: float, high: float) -> float:
    """Volume of the lumen between two stations, mm3."""
    inside = (true.z >= low) & (true.z <= high)
    return float(np.trapezoid(np.pi / 4 * (true.minor * true.major)[inside], true.z[inside]))


def stored() -> dict[str, list[dict[str, Any]]]:
    """The study as it was last run."""
    return dict(json.loads(OUT.read_text(encoding="utf-8")))


def main() -> None:
    """Run all of it, or with an argument one half: `films` or `scans`."""
    made = stored() if OUT.exists() else {}
    if sys.argv[1:] in ([], ["films"]):
        made["films"] = [film_row(seed) for seed in FILMS]
    if sys.argv[1:] in ([], ["scans"]):
        made["scans"] = [scan_row(seed, kind) for kind in ("micro-CT", "cone-beam scan") for seed in SCANS]
    lists = ",\n".join(
        f' "{name}": [\n' + ",\n".join("  " + json.dumps(row) for row in rows) + "\n ]"
        for name, rows in sorted(made.items())
    )
    OUT.write_text("{\n" + lists + "\n}\n", encoding="utf-8")


if __name__ == "__main__":
    main()
