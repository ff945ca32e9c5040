"""Published averages by tooth and canal, each with its source and spread, from `averages.toml`.

A value here stands in for one that nobody measured. Its `Source` says so: a published average with its
citation and how we saw it, or an assumption of ours.
"""

import difflib
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from canalwright.anatomy.lumen import Array
from canalwright.anatomy.tooth import Tooth
from canalwright.quantities import Origin, Source


@dataclass(frozen=True, slots=True)
class Average:
    """A value, its spread (one standard deviation) and its source."""

    value: float
    spread: float
    source: Source


@dataclass(frozen=True, slots=True)
class Table:
    """Values by level [mm from the terminus], with one spread and source; linear between rows, level beyond them."""

    level: tuple[float, ...]
    value: tuple[float, ...]
    spread: float
    source: Source

    def __call__(self, z: Array) -> Array:
        """Values at levels `z`, any shape."""
        return np.interp(z, self.level, self.value)


@dataclass(frozen=True, slots=True)
class ToothAverages:
    """Averages of one kind of tooth; lengths mm, `floor_below_cej` from the junction to the orifices."""

    crown: Average
    root: Average
    floor_below_cej: Average
    usual: tuple[str, ...]
    possible: tuple[str, ...]

    @property
    def length(self) -> float:
        """Crown and root together, mm."""
        return self.crown.value + self.root.value


@dataclass(frozen=True, slots=True)
class CanalAverages:
    """Averages of one canal: widths by level, orifice, curve (Schneider angle, degrees) and wall.

    `curve_start` is the level at which the curve begins as a share of the level of the orifice.
    """

    group: str
    minor: Table
    major: Table
    orifice_minor: Average
    orifice_major: Average
    angle: Average
    curve_start: float
    towards: str
    wall: Table


def tooth_averages(tooth: Tooth) -> ToothAverages:
    """What is known of the kind of this tooth."""
    raw = _tables()["tooth"][tooth.kind]
    floor = raw.get("floor_below_cej", {"value": 0.0, "spread": 0.8, "source": "ours"})
    return ToothAverages(
        _average(raw["crown"]),
        _average(raw["root"]),
        _average(floor),
        tuple(raw["usual"]),
        tuple(raw.get("possible", ())),
    )


def canal_averages(tooth: Tooth, canal: str) -> CanalAverages:
    """What is known of this canal by its trade name; an unusual name gets the `generic` group (see `canal_name`)."""
    raw = _tables()["tooth"][tooth.kind]
    group = {**raw["usual"], **raw.get("possible", {})}.get(canal, "generic")
    table = _group(group)
    tight, widths, orifice, curve, wall = (table[k] for k in ("constriction", "widths", "orifice", "curve", "wall"))
    end = every("end").value
    spread, source = max(tight["spread"], widths["spread"]), _source(widths["source"])

    def by_level(which: str) -> Table:
        values = np.maximum.accumulate([tight[which], *widths[which]])
        return Table((end, *widths["level"]), tuple(float(v) for v in values), spread, source)

    def at_orifice(which: str) -> Average:
        return _average({"value": orifice[which], "spread": orifice["spread"], "source": orifice["source"]})

    return CanalAverages(
        group,
        by_level("minor"),
        by_level("major"),
        at_orifice("minor"),
        at_orifice("major"),
        Average(curve["angle"], curve["spread"], _source(curve["source"])),
        curve["start"],
        curve["towards"],
        Table(tuple(wall["level"]), tuple(wall["value"]), wall["spread"], _source(wall["source"])),
    )


def constriction(tooth: Tooth, canal: str) -> tuple[Average, Average]:
    """Least and greatest width of the apical constriction, mm."""
    raw = _tables()["tooth"][tooth.kind]
    tight = _group({**raw["usual"], **raw.get("possible", {})}.get(canal, "generic"))["constriction"]
    least, greatest = (_average({**tight, "value": tight[which]}) for which in ("minor", "major"))
    return least, greatest


def every(name: str) -> Average:
    """An average that is the same for every tooth, such as `foramen`."""
    return _average(_tables()["every"][name])


def reading_error(quantity: str, method: str) -> Average:
    """Error of a way of measuring: `quantity` is length, width, wall [mm] or curve [share of the angle].

    `value` is one standard deviation. Raises KeyError for a method that is not used for this quantity.
    """
    row = _tables()["methods"][quantity][method]
    return Average(row["error"], 0.0, _source(row["source"]))


def methods(quantity: str) -> tuple[str, ...]:
    """Ways of measuring a quantity, best known first."""
    return tuple(_tables()["methods"][quantity])


def canal_name(tooth: Tooth, name: str) -> tuple[str, bool]:
    """The trade name in full ('MB' gives 'mesiobuccal'), and whether this kind of tooth is known to have it."""
    known = tooth_averages(tooth)
    names = (*known.usual, *known.possible)
    plain = " ".join(name.split())
    full = _SHORT.get(plain.upper(), plain)
    for candidate in (full, full.lower()):
        if candidate in names:
            return candidate, True
    if full.lower() == "main" and "single" in names:
        return "single", True
    return full, False


def nearest_canal(tooth: Tooth, name: str) -> str:
    """The known canal whose name is most like `name`, or ''."""
    known = tooth_averages(tooth)
    return next(iter(difflib.get_close_matches(name.lower(), (*known.usual, *known.possible), 1, 0.6)), "")


_SHORT = {
    "MB": "mesiobuccal", "MB1": "mesiobuccal", "MB2": "second mesiobuccal", "DB": "distobuccal", "P": "palatal",
    "ML": "mesiolingual", "DL": "distolingual", "D": "distal", "M": "mesial", "MM": "middle mesial", "B": "buccal",
    "L": "lingual",
}  # fmt: skip


@cache
def _tables() -> dict[str, Any]:
    return tomllib.loads(files("canalwright.anatomy").joinpath("averages.toml").read_text(encoding="utf-8"))


def _group(name: str) -> dict[str, Any]:
    """A group of canals with what it inherits from the one it is like."""
    own = _tables()["group"][name]
    return {**_group(own["like"]), **own} if "like" in own else dict(own)


def _source(name: str) -> Source:
    row = _tables()["sources"][name]
    origin = Origin.ASSUMED if row.get("assumed") else Origin.AVERAGE
    return Source(origin, row["cite"] if row.get("assumed") else f"{row['cite']}, {row['seen']}")


def _average(row: dict[str, Any]) -> Average:
    return Average(float(row["value"]), float(row["spread"]), _source(row["source"]))
