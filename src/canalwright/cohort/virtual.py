"""Virtual teeth: measurements drawn about the published averages of a kind of tooth.

A tooth is a function of the study's seed and of its own number, and a canal of its place among the usual canals of that
tooth besides: neither the order of work nor the other canals asked for change it. Spreads, shapes and correlations stand in
`virtual.toml`, averages and their sources in `anatomy/averages.toml`. One factor widens or narrows a whole canal, another
its whole wall: levels of one canal do not vary apart. Left out: canals that join, isthmuses, side branches, S-curves.
"""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from canalwright.anatomy import Canal, Curve, Measured, Measurements, Tooth, averages
from canalwright.anatomy.averages import CanalAverages
from canalwright.anatomy.measurements import iso_file
from canalwright.instruments import iso3630

LEAST_WIDTH, WIDEST, LEAST_WALL, STEEPEST = 0.1, 4.9, 0.2, 80.0
JUST_ABOVE = 0.05
"""The width of the constriction is given this far above the end of the preparation, mm."""
LEAST_LENGTH, DEEPEST_FLOOR = 8.5, 1.0
FACTORS = ("length", "width", "wall", "angle")


@dataclass(frozen=True, slots=True)
class Shaping:
    """The finishing file of a virtual canal: a fixed `size`, or `above` ISO sizes over the native apical width.

    `least` and `most` bound the second; three sizes over the first file that binds is common practice.
    """

    taper: float = 0.04
    size: int | None = None
    above: int = 3
    least: int = 25
    most: int = 60

    def choose(self, width: float) -> int:
        """ISO size for a canal of native apical width [mm]."""
        if self.size is not None:
            return self.size
        sizes = iso3630.SIZES
        binds = max((i for i, s in enumerate(sizes) if s / 100 <= width + 1e-9), default=0)
        return min(max(sizes[min(binds + self.above, len(sizes) - 1)], self.least), self.most)


@dataclass(frozen=True, slots=True)
class Kind:
    """What is drawn: the tooth (ISO 3950), its canals by trade name (none: all usual ones), shaping, and how it is measured."""

    tooth: int
    canals: tuple[str, ...] = ()
    shaping: Shaping = Shaping()
    measured_by: str = "micro-CT"
    wall_factor: float = 1.0


@dataclass(frozen=True, slots=True)
class Spread:
    """One drawn quantity, for the list of sources: mean and standard deviation in `unit`, shape and source."""

    name: str
    mean: float
    deviation: float
    unit: str
    shape: str
    source: str


def draw_tooth(kind: Kind, seed: int, number: int) -> tuple[Canal, ...]:
    """The canals of virtual tooth `number` of a study. Raises ValueError for a canal that this kind of tooth is not known to have."""
    return tuple(Canal.from_measurements(m) for m in draw_measurements(kind, seed, number))


def draw_measurements(kind: Kind, seed: int, number: int) -> tuple[Measurements, ...]:
    """The same as measurements, as they would stand in a case file."""
    tooth = Tooth(kind.tooth)
    shared = dict(zip(("crown", *FACTORS), _scores(seed, number, 0, 1 + len(FACTORS)), strict=True))
    known = averages.tooth_averages(tooth)
    order = (*known.usual, *known.possible)
    return tuple(
        _canal(tooth, name, kind, shared, _scores(seed, number, 1 + order.index(name), 8))
        for name in names_of(tooth, kind.canals)
    )


def names_of(tooth: Tooth, canals: Sequence[str]) -> tuple[str, ...]:
    """Trade names in full, all usual ones where none is named. Raises ValueError for one that the tooth is not known to have."""
    known = averages.tooth_averages(tooth)
    if not canals:
        return tuple(known.usual)
    found = [averages.canal_name(tooth, name) for name in canals]
    for name, there in found:
        if not there:
            raise ValueError(
                f"canal {name!r}: a {tooth.kind} is known to have {', '.join((*known.usual, *known.possible))}"
            )
    return tuple(name for name, _ in found)


def spreads(kind: Kind) -> tuple[Spread, ...]:
    """Every distribution that teeth of this kind are drawn from, with its source; canal by canal."""
    tooth = Tooth(kind.tooth)
    whole, end = averages.tooth_averages(tooth), averages.every("end")
    found = [
        Spread("crown", whole.crown.value, whole.crown.spread, "mm", "normal", str(whole.crown.source)),
        Spread("root", whole.root.value, whole.root.spread, "mm", "normal", str(whole.root.source)),
        Spread("foramen to the end of the preparation", end.value, end.spread, "mm", "normal", str(end.source)),
    ]
    for name in names_of(tooth, kind.canals):
        found += _canal_spreads(tooth, name, kind)
    return tuple(found)


def _canal_spreads(tooth: Tooth, name: str, kind: Kind) -> list[Spread]:
    known, (tight, _) = averages.canal_averages(tooth, name), averages.constriction(tooth, name)
    mouth, angle, oval = known.orifice_minor, known.angle, _tables()["spread"]
    level, (thick, source) = _level(known), _wall_spread(known)
    wall = float(known.wall(np.array([level]))[0]) * kind.wall_factor
    return [
        Spread(f"{name}: constriction", tight.value, tight.spread, "mm", "lognormal", str(tight.source)),
        Spread(f"{name}: orifice", mouth.value, mouth.spread, "mm", "lognormal", str(mouth.source)),
        Spread(f"{name}: ovality", 1.0, oval["ovality"], "of the mean", "lognormal", oval["ovality_source"]),
        Spread(
            f"{name}: Schneider angle", angle.value, angle.spread, "degrees", "normal, not below 0", str(angle.source)
        ),
        Spread(f"{name}: wall at {level:g} mm", wall, thick * kind.wall_factor, "mm", "lognormal", source),
    ]


def correlations() -> dict[str, float]:
    """Correlation between the canals of one tooth by quantity; ours, no figure was found."""
    return {name: float(value) for name, value in _tables()["together"].items() if name != "source"}


def _canal(tooth: Tooth, name: str, kind: Kind, shared: dict[str, float], own: list[float]) -> Measurements:
    z = {f: _mixed(shared[f], score, f) for f, score in zip(FACTORS, own[:4], strict=True)}
    end_z, orifice_z, oval_z, foramen_z = own[4:]
    whole, known = averages.tooth_averages(tooth), averages.canal_averages(tooth, name)
    tight, tight_most = averages.constriction(tooth, name)
    by = kind.measured_by
    end = max(averages.every("end").value + averages.every("end").spread * end_z, 0.1)
    crown, root = (
        a.value + a.spread * score for a, score in ((whole.crown, shared["crown"]), (whole.root, z["length"]))
    )
    wide = _lognormal(z["width"], tight.spread / tight.value)
    mouth = known.orifice_minor
    mouth_z = _mixed(z["width"], orifice_z, "orifice")
    ratio = _lognormal(oval_z, _tables()["spread"]["ovality"])
    levels = [level for level in known.minor.level if level > end + 0.2]
    rows = []
    for level in levels:
        at = np.array([level])
        minor = max(float(known.minor(at)[0]) * wide, LEAST_WIDTH)
        oval = max(float(known.major(at)[0] / known.minor(at)[0]) * ratio, 1.0)
        rows.append((level, round(minor, 4), round(min(minor * oval, WIDEST), 4)))
    tip = min(max(tight.value * wide, LEAST_WIDTH), rows[0][1])
    tight_oval = max(tight_most.value / tight.value * ratio, 1.0)
    rows.insert(0, (round(end + JUST_ABOVE, 3), round(tip, 4), round(tip * tight_oval, 4)))
    orifice = max(mouth.value * _lognormal(mouth_z, mouth.spread / mouth.value), rows[-1][1])
    thick, _ = _wall_spread(known)
    level = _level(known)
    factor = _lognormal(z["wall"], thick / float(known.wall(np.array([level]))[0])) * kind.wall_factor
    walls = tuple(
        (float(at), round(max(float(value) * factor, LEAST_WALL), 4))
        for at, value in zip(known.wall.level, known.wall.value, strict=True)
    )
    angle = min(max(known.angle.value + known.angle.spread * z["angle"], 0.0), STEEPEST)
    length = max(crown + root, LEAST_LENGTH)
    foramen = averages.every("foramen")
    floor = max(root - whole.floor_below_cej.value, end + DEEPEST_FLOOR + levels[0])
    return Measurements(
        tooth=tooth,
        canal=name,
        working_length=Measured(round(length - end, 3), by),
        file=iso_file(kind.shaping.choose(tip), kind.shaping.taper),
        end=Measured(round(end, 3), by),
        orifice_depth=Measured(round(length - floor, 3), by),
        orifice_width=Measured(round(orifice, 4), by),
        widths=tuple(row for row in rows if row[0] < floor - 0.3),
        widths_method=by,
        foramen=Measured(round(max(foramen.value + foramen.spread * foramen_z, tip), 3), by),
        curves=(Curve(Measured(round(angle, 2), by), start=Measured(round(known.curve_start * floor, 3), by), towards=known.towards),),
        walls=walls,
        walls_method=by,
        cej=Measured(round(root, 3), by),
    )  # fmt: skip


def _scores(seed: int, number: int, part: int, count: int) -> list[float]:
    """Standard normal scores, cut off; part 0 is the tooth, the others its canals."""
    generator = np.random.default_rng([seed, number, part])
    cut = float(_tables()["cut"])
    found: list[float] = []
    while len(found) < count:
        score = float(generator.standard_normal())
        if abs(score) <= cut:
            found.append(score)
    return found


def _mixed(shared: float, own: float, quantity: str) -> float:
    """A score that correlates with the shared one as `virtual.toml` says; its variance stays 1."""
    together = float(_tables()["together"][quantity])
    return float(np.sqrt(together) * shared + np.sqrt(1 - together) * own) if quantity in FACTORS else float(
        together * shared + np.sqrt(1 - together**2) * own
    )  # fmt: skip


def _lognormal(score: float, share: float) -> float:
    """A factor of mean 1 and standard deviation `share`."""
    sigma2 = float(np.log1p(share**2))
    return float(np.exp(np.sqrt(sigma2) * score - sigma2 / 2))


def _wall_spread(known: CanalAverages) -> tuple[float, str]:
    """Standard deviation of the wall, mm, and its source."""
    table = _tables()["spread"]
    if known.group in table["wall"]:
        return float(table["wall"][known.group]), str(table["wall_source"])
    return known.wall.spread, str(known.wall.source)


def _level(known: CanalAverages) -> float:
    return min(float(_tables()["spread"]["wall_level"]), known.wall.level[-1])


@cache
def _tables() -> dict[str, Any]:
    return tomllib.loads(files("canalwright.cohort").joinpath("virtual.toml").read_text(encoding="utf-8"))
