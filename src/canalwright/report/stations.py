"""What is measured and shaped at every station of a canal, with intervals: what a cursor on the section says."""

from typing import Any

import numpy as np

from canalwright import shaping
from canalwright.anatomy import perturb
from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Array
from canalwright.quantities import draw
from canalwright.shaping.envelope import envelope
from canalwright.shaping.lumen import shaped_widths
from canalwright.shaping.wall import thinned

DRAWS, SEED = 512, 20
BOUNDS = (0.05, 0.95)


def stations(canal: Canal) -> dict[str, Any]:
    """By station, in plain JSON types: `depth` (n,) mm from the reference point, `short` mm to the preparation's end, and rows of
    value, 5 % and 95 % bound (3, n) of `minor`, `major` before shaping, `shaped_minor`, `shaped_major`, `wall` after it [mm].

    The bounds come from draws of the canal's own errors; transportation of the canal by the file is left out.
    """
    native, cut = canal.native, envelope(canal.file, canal.native.z, canal.end)
    names = {name: canal.errors[name] for name in ("width", "wall", "file") if name in canal.errors}
    shown = shaping.shaped(canal)
    rows = {
        "minor": native.minor,
        "major": native.major,
        "shaped_minor": shown.minor,
        "shaped_major": shown.major,
        "wall": shown.wall,
    }
    drawn = dict(rows)
    if names:
        sample = draw(names, DRAWS, SEED)
        minor, major = perturb.native_widths(canal, sample)
        offset = sample["file"] if "file" in names else 0.0
        thin, wide = shaped_widths(native.z, minor, major, canal.file, canal.end, offset)
        cuts = envelope(canal.file, native.z, canal.end, offset) if "file" in names else cut
        wall = np.maximum(thinned(perturb.walls(canal, sample), minor, cuts), 0.0)
        drawn = {"minor": minor, "major": major, "shaped_minor": thin, "shaped_major": wide, "wall": wall}
    return {
        "depth": _list(canal.length.value - native.z),
        "short": _list(native.z - canal.end),
        **{name: [_list(rows[name]), *_bounds(drawn[name], rows[name])] for name in rows},
    }


def _bounds(drawn: Array, value: Array) -> list[list[float]]:
    low, high = np.quantile(np.atleast_2d(drawn), BOUNDS, axis=0)
    return [_list(np.minimum(low, value)), _list(np.maximum(high, value))]


def _list(values: Array) -> list[float]:
    return [round(float(v), 3) for v in values]
