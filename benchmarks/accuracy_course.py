"""Whether the 90 % intervals of course, surface and levels hold the truth: the part of `accuracy_scan` that follows the line.

Curvature and torsion are compared with those of the phantom's own line by the same definition (a smooth line, ripples halved);
angles and radius with those of its exact line; volume and surface with the sums over its sections. Levels of crest and
junction are read in scans of phantoms with bone that ends and enamel that begins at known heights, from the true line with
its terminus off by as much as is stated. The constants were set before; seeds from `CALIBRATION` on are free to set them again.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree
from tests.imaging.scans import as_found

from canalwright.imaging import FoundCanal, measures
from canalwright.imaging.centreline import project, pruett, schneider, smooth
from canalwright.imaging.levels import levels
from canalwright.imaging.measures import CURVE, TWIST
from canalwright.imaging.phantom.scan import CanalShape, RootShape, Scanner, TrueCanal, make, random_shape, render
from canalwright.quantities import Quantity

CALIBRATION = 1000
AT = (2.0, 3.0, 5.0, 7.0)
SIDES = {"mesial": (1.0, 0.0, 0.0), "buccal": (0.0, 1.0, 0.0)}
NINETY = 1.6449
UNITS = {
    "curvature": "1/mm", "torsion": "1/mm", "Schneider's angle": "degrees", "Pruett's angle": "degrees", "Pruett's radius": "per cent",
    "volume": "per cent", "surface": "per cent", "bone crest": "mm", "enamel junction": "mm",
}  # fmt: skip


@dataclass(frozen=True)
class Told:
    """One number beside its truth: error in the unit of `UNITS`, whether its interval holds the truth."""

    name: str
    error: float
    held: bool


def shape_of(seed: int) -> tuple[tuple[CanalShape, ...], RootShape]:
    """The random shape of a seed, the plane of its bend turning by up to 90 degrees: a line with torsion."""
    (canal,), root = random_shape(seed)
    return (replace(canal, twist=float(np.random.default_rng(20_000 + seed).uniform(-90, 90))),), root


def course_of(found: FoundCanal, true: TrueCanal, higher: float) -> tuple[Told, ...]:
    """What is told of a found canal's course, volume and surface beside the truth; `higher`: how far above the true
    orifice it begins, mm."""
    told = measures(found, **SIDES)
    stations = [round(z / 0.1) for z in AT if z < true.length - 1.5]
    _, near = cKDTree(found.lumen.centre).query(true.centre[stations])
    out: list[Told] = []
    for name, wave, key in (("curvature", CURVE, "curvature"), ("torsion", TWIST, "torsion")):
        line = smooth(true.centre, wavelength=wave)
        real = np.interp(true.z[stations], line.s, getattr(line, key))
        mine, error = getattr(told.course, key)[near], getattr(told.course, f"{key}_error")[near]
        seen = np.isfinite(mine)
        off = (mine - real)[seen]
        out += [Told(name, float(e), bool(abs(e) < NINETY * s)) for e, s in zip(off, error[seen], strict=True)]
    for view, way in zip(told.views, (SIDES["buccal"], SIDES["mesial"]), strict=True):
        flat = project(true.centre, np.array(way))
        angle, radius = pruett(flat)
        out += [
            _beside("Schneider's angle", view.schneider, schneider(flat)),
            _beside("Pruett's angle", view.angle, angle),
        ]
        if np.isfinite(radius) and np.isfinite(view.radius.value):
            out.append(_beside("Pruett's radius", view.radius, radius, share=True))
    area = np.pi / 4 * true.minor * true.major
    out.append(_beside("volume", told.volume, _sum(area, true.z, higher), share=True))
    return (*out, _beside("surface", told.surface, _sum(_perimeter(true), true.z, higher), share=True))


def levels_of(seed: int) -> tuple[Told, ...]:
    """Bone crest and junction of one phantom, read along its true line, the terminus off by its stated error."""
    rng = np.random.default_rng(30_000 + seed)
    shapes, root = shape_of(seed)
    root = replace(
        root, crest=root.height - float(rng.uniform(0.5, 3.0)), cej=root.height + float(rng.uniform(0.0, 1.5))
    )
    made = make(shapes, root)
    voxel = float(rng.choice([0.15, 0.2, 0.25, 0.3]))
    scanner = Scanner(voxel, float(rng.uniform(0.6, 1.0) * voxel), float(rng.uniform(30, 110)), oversample=2)
    true, doubt = made.truth[0], 0.1
    canal = replace(as_found(true, "canal"), length_error=doubt)
    told = levels(render(made, scanner, seed, margin=1.5), canal)
    slip = float(rng.normal(0, doubt))
    out = []
    for name, quantity, height in (("bone crest", told.crest, root.crest), ("enamel junction", told.cej, root.cej)):
        if quantity is not None:
            real = float(true.z[-1]) + float(height) - float(true.orifice[2])
            if height < true.orifice[2]:
                real = float(np.interp(height, true.centre[:, 2], true.z))
            out.append(_beside(name, quantity, real + slip))
    return tuple(out)


def table(told: Iterable[Told], traces: int, lines: int) -> list[str]:
    """Rows of the page: each measure with its error and how often its interval held."""
    given = list(told)
    out = [
        "## Course, surface and levels",
        "",
        f"{traces} traced phantoms whose bend turns out of its plane by up to 90 degrees, and {lines} phantoms with a bone crest "
        "and an enamel border, at voxels of 0.15 to 0.3 mm. Curvature and torsion beside those of the true line smoothed in the "
        "same way; angles and radius beside those of the exact line, in two views; levels from the true line with its terminus "
        "0.1 mm uncertain.",
        "",
        "| measure | numbers | error, root mean square | error, mean | unit | 90 % interval holds |",
        "|---|---|---|---|---|---|",
    ]
    outside = []
    for name, unit in UNITS.items():
        own = [t for t in given if t.name == name]
        if not own:
            continue
        errors, held = np.array([t.error for t in own]), float(np.mean([t.held for t in own]))
        out.append(
            f"| {name} | {len(own)} | {np.sqrt(np.mean(errors**2)):.3g} | {errors.mean():+.2g} | {unit} | {100 * held:.0f} % |"
        )
        if not 0.85 <= held <= 0.95:
            outside.append(f"{name} {100 * held:.0f} %")
    return [*out, "", *([f"Outside the aim of 85 to 95 %: {', '.join(outside)}.", ""] if outside else [])]


def _beside(name: str, quantity: Quantity, real: float, *, share: bool = False) -> Told:
    error = quantity.value - real
    return Told(name, 100 * error / real if share else error, bool(quantity.low <= real <= quantity.high))


def _sum(values: Sequence[float] | np.ndarray, z: np.ndarray, higher: float) -> float:
    return float(np.trapezoid(values, z)) + float(values[-1]) * higher


def _perimeter(true: TrueCanal) -> np.ndarray:
    """Perimeter of the true ovals, by 400 chords."""
    turn = np.linspace(0, 2 * np.pi, 401)
    points = np.stack([np.outer(true.major / 2, np.cos(turn)), np.outer(true.minor / 2, np.sin(turn))])
    return np.asarray(np.hypot(*np.diff(points, axis=2)).sum(axis=1))
