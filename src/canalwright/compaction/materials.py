"""The uncertain properties that the compaction models draw from.

`readings` names them, each a `Reading` with unit, spread and source (`materials.toml`). `table` turns a
`Sample` (or the readings alone) into the array that the kernels take: one row a draw, one column a
property, in the order of `COLUMNS`. Pressures MPa, viscosity MPa s, temperatures deg C.
"""

import tomllib
from collections.abc import Mapping, Sequence
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.lumen import Portal
from canalwright.quantities import Origin, Reading, Sample, Shape, Source

Array = NDArray[np.float64]

# The kernels compile these places in: after a change here, delete the compiled files (`__pycache__/*.nb?`).
COLUMNS = (
    "gutta.yield_cold", "gutta.yield_soft", "gutta.consistency", "gutta.index", "gutta.activation",
    "gutta.melt_first", "gutta.melt_second", "gutta.freeze", "gutta.contraction", "gutta.freezing_share",
    "gutta.diffusivity", "sealer.viscosity", "sealer.share", "sealer.ahead", "place.speed",
    "press.force", "press.grip", "press.friction", "press.bind", "press.wall", "heat.warmth",
    "backfill.void", "lateral.packing", "branch.patency", "dentine.strength",
)  # fmt: skip
(
    YIELD_COLD, YIELD_SOFT, CONSISTENCY, INDEX, ACTIVATION,
    MELT_FIRST, MELT_SECOND, FREEZE, CONTRACTION, FREEZING_SHARE,
    DIFFUSIVITY, VISCOSITY, SEALER_SHARE, AHEAD, SPEED,
    FORCE, GRIP, FRICTION, BIND, WALL, WARMTH,
    VOID, PACKING, PATENCY, STRENGTH,
) = range(len(COLUMNS))  # fmt: skip
LOG_RATIO, SLOPE, STEP, LEFT = range(len(COLUMNS), len(COLUMNS) + 4)
WIDTH = 2.0  # K, of each transition
BODY = 37.0


def readings(sealer: str = "epoxy resin", portals: Sequence[Portal] = ()) -> Mapping[str, Reading]:
    """Every uncertain input of the room: materials and habits, and the width of each portal.

    `sealer` is the kind of sealer (an unknown kind gets the published kinds together, wider). Portal
    `i` adds the reading `portal.i.diameter` [mm].
    """
    found = {name: _reading(entry) for name, entry in _entries().items() if name != "sealer"}
    kinds = _entries()["sealer"]
    kind = kinds.get(sealer, kinds["other"])
    found["sealer.viscosity"] = Reading(
        kind["viscosity"] * 1e-6,
        kind["error"],
        "MPa s",
        Source(Origin(kind["origin"]), f"{sealer}: {kind['detail']}"),
        Shape.LOGNORMAL,
    )
    ordered = {name: found[name] for name in COLUMNS}
    return ordered | {f"portal.{i}.diameter": portal.diameter for i, portal in enumerate(portals)}


def table(source: Sample | Mapping[str, Reading]) -> Array:
    """Properties by draw, shape (draws, len(COLUMNS) + 4); names that `source` lacks keep their nominal value.

    The last four columns are derived: ln(soft/cold yield), slope and step of the volume curve, softness left at 37 C.
    """
    nominal = readings()
    if isinstance(source, Sample):
        drawn = [
            source[name] if name in source.readings else np.full(source.size, nominal[name].value) for name in COLUMNS
        ]
        rows = np.column_stack(drawn)
    else:
        rows = np.array([[source.get(name, nominal[name]).value for name in COLUMNS]])
    left = 1.0 / (1.0 + np.exp(-(BODY - rows[:, FREEZE]) / WIDTH))
    slope = (1.0 - rows[:, FREEZING_SHARE]) * rows[:, CONTRACTION] / (75.0 - BODY)
    step = rows[:, FREEZING_SHARE] * rows[:, CONTRACTION] / (1.0 - left)
    ratio = np.log(rows[:, YIELD_SOFT] / rows[:, YIELD_COLD])
    return np.ascontiguousarray(np.column_stack([rows, ratio, slope, step, left]))


def portal_diameters(source: Sample | Mapping[str, Reading], portals: Sequence[Portal]) -> Array:
    """Width of each portal by draw, shape (draws, portals), mm; at least 5 um."""
    draws = source.size if isinstance(source, Sample) else 1
    widths = np.empty((draws, len(portals)))
    for i, portal in enumerate(portals):
        name = f"portal.{i}.diameter"
        drawn = isinstance(source, Sample) and name in source.readings
        widths[:, i] = source[name] if isinstance(source, Sample) and drawn else portal.diameter.value
    return np.maximum(widths, 0.005)


def _reading(entry: Mapping[str, object]) -> Reading:
    def number(key: str, default: float) -> float:
        return float(str(entry.get(key, default)))

    return Reading(
        number("value", 0.0),
        number("error", 0.0),
        str(entry["unit"]),
        Source(Origin(str(entry["origin"])), str(entry["detail"])),
        Shape(str(entry["shape"])),
        number("least", -np.inf),
        number("most", np.inf),
    )


@lru_cache(maxsize=1)
def _entries() -> dict[str, dict]:  # type: ignore[type-arg]
    text = resources.files("canalwright.compaction").joinpath("materials.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
