"""The shapes of a tooth for a drawing in three dimensions: root and lumen of every canal that lies in the same space.

A root is drawn as thick all round as its least wall and rounded over its last 0.7 mm for the eye; side branches are left out.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from canalwright import shaping
from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Array, Lumen
from canalwright.report.frame import root_half_width

NEAR = 25.0
"""Canals of one scan have their orifices within this of each other, mm; others were measured each in a space of its own."""


def solid(canals: Sequence[Canal], index: int) -> dict[str, Any]:
    """Stations, places and half widths (mm) of the canal `index` and of those that lie in its space, in plain JSON types.

    For each canal: `z` (n,), `centre` and `axis` (n, 3), `lumen` and `root` with half widths along the axis and across
    it, `length` from the reference point to the terminus, `chosen`.
    """
    chosen = canals[index]
    return {
        "canals": [_canal(c, shaping.shaped(c), c is chosen) for c in canals if c is chosen or _beside(c, chosen)],
        "length": chosen.length.value,
        "end": chosen.end,
        "upper": chosen.tooth.upper,
    }


def _canal(canal: Canal, shaped: Lumen, chosen: bool) -> dict[str, Any]:
    return {
        "name": canal.name,
        "chosen": chosen,
        "z": _list(shaped.z),
        "centre": [_list(p) for p in shaped.centre],
        "axis": [_list(p) for p in shaped.axis],
        "lumen": {"along": _list(shaped.major / 2), "across": _list(shaped.minor / 2)},
        "root": {
            "along": _list(root_half_width(shaped, shaped.major / 2)),
            "across": _list(root_half_width(shaped, shaped.minor / 2)),
        },
        "orifice": canal.orifice,
    }


def _beside(canal: Canal, chosen: Canal) -> bool:
    """Whether a canal was read in the same space: both have places of their own, near each other."""
    mouths = canal.native.centre[-1], chosen.native.centre[-1]
    apart = float(np.linalg.norm(mouths[0] - mouths[1]))
    return 0.2 < apart < NEAR and not np.allclose(canal.native.centre[0], chosen.native.centre[0], atol=0.05)


def _list(values: Array) -> list[float]:
    return [round(float(v), 4) for v in np.asarray(values).ravel()]
