"""The wall of a found canal towards the sides of the tooth, level by level, as the case keeps it.

Along a side's direction, laid into the cross plane, the wall is the distance from the lumen's edge to the root's surface. The
side of the furcation needs no direction: it is where the nearest canal of another root lies. Leaves out: roots that twist.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canalwright.anatomy.sides import SideWall, furcation_side
from canalwright.anatomy.tooth import Tooth
from canalwright.imaging.found import FoundCanal
from canalwright.imaging.mesh.names import directions
from canalwright.imaging.vertucci import roots

Array = NDArray[np.float64]
SPACING = 0.5
"""Distance between the levels that are kept, mm."""
LOWEST = 1.0
"""Below this the root's end closes and a wall across it says little, mm."""


def side_walls(
    canal: FoundCanal,
    tooth: Tooth,
    *,
    mesial: ArrayLike | None = None,
    buccal: ArrayLike | None = None,
    others: Sequence[FoundCanal] = (),
) -> tuple[SideWall, ...]:
    """Dentine towards each side whose direction is known, by level from the terminus; none where no surface was measured.

    `mesial`, `buccal`: directions in the scan, one is enough. `others`: the tooth's other canals. Raises ValueError for
    directions that contradict the tooth.
    """
    if canal.surface is None:
        return ()
    ways = _ways(canal, tooth, mesial, buccal)
    inner = furcation_side(tooth, canal.name)
    facing = _facing(canal, others) if inner and inner not in ways else None
    out = []
    levels = np.arange(LOWEST, canal.lumen.z[-1], SPACING)
    stations = [int(np.argmin(np.abs(canal.lumen.z - level))) for level in levels]
    for side, way in ways.items():
        out.append(_wall(canal, side, levels, stations, [way] * len(stations)))
    if facing is not None:
        out.append(_wall(canal, inner, levels, stations, [facing[i] for i in stations]))
    return tuple(out)


def _ways(canal: FoundCanal, tooth: Tooth, mesial: ArrayLike | None, buccal: ArrayLike | None) -> dict[str, Array]:
    """Direction of every side that is known."""
    given = (None if way is None else np.asarray(way, float) for way in (mesial, buccal))
    known = directions(tooth, canal.crown, *given)
    if known is None:
        return {}
    inner = "palatal" if tooth.upper else "lingual"
    return {"mesial": known.mesial, "distal": -known.mesial, "buccal": known.buccal, inner: -known.buccal}


def _facing(canal: FoundCanal, others: Sequence[FoundCanal]) -> Array | None:
    """Direction (n, 3) from each station to the nearest place of another root's canals; None for a single root."""
    mine = next((r for r in roots([canal, *others]) if any(c is canal for c in r)), [canal])
    far = [other.lumen.centre for other in others if not any(other is c for c in mine)]
    if not far:
        return None
    points = np.vstack(far)
    nearest = [points[int(np.argmin(np.linalg.norm(points - place, axis=1)))] for place in canal.lumen.centre]
    return np.asarray(nearest) - canal.lumen.centre


def _wall(canal: FoundCanal, side: str, levels: Array, stations: Sequence[int], ways: Sequence[Array]) -> SideWall:
    values = []
    for i, way in zip(stations, ways, strict=True):
        thick, _, around = canal.walls(i)
        values.append(float(thick[int(np.argmax(around @ way))]))
    return SideWall(side, tuple(round(float(z), 2) for z in levels), tuple(round(v, 3) for v in values))
