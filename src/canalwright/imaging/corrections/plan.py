"""What a log of corrections asks for, before anything is measured: a way for each canal.

A way is the ordered stops of a canal from its orifice down to its terminus. That of a found canal starts as points of
its centreline, `APART` mm apart; a moved point frees the stops within `FREED` mm of it, so that the lumen between is
looked for anew. Pure: no voxels.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.corrections.correction import Correction, Kind
from canalwright.imaging.errors import CorrectionError
from canalwright.imaging.found import FoundCanal
from canalwright.imaging.tracing.barrier import Barrier

Array = NDArray[np.float64]
APART = 1.5
FREED = 2.0
OFF = 3.0
"""How far from the centreline a place is still taken for a point of it, mm."""
NEAR_PORTAL = 1.0


@dataclass(frozen=True)
class PlannedPortal:
    """A side branch to be measured along `points` (m, 3), from the canal outwards."""

    points: Array
    kind: str


@dataclass(frozen=True)
class Way:
    """The stops (m, 3) of a canal, orifice first; which of them were set by hand; and what else is asked of it.

    `found`: the canal as it was found, None for one added by hand. `again`: it has to be measured again.
    `dropped`: places of found portals that are none. `log`: the corrections that touched it.
    """

    name: str
    stops: Array
    fixed: NDArray[np.bool_]
    found: FoundCanal | None = None
    again: bool = False
    pinned: bool = False
    barriers: tuple[Barrier, ...] = ()
    added: tuple[PlannedPortal, ...] = ()
    dropped: tuple[Array, ...] = ()
    log: tuple[Correction, ...] = ()

    @property
    def key(self) -> tuple[object, ...]:
        """What the measurement hangs on, to find it again in a memory."""
        shut = tuple(
            (*b.centre.tolist(), b.radius, *([] if b.normal is None else b.normal.tolist())) for b in self.barriers
        )
        return (self.name, self.stops.tobytes(), self.pinned, shut)


def planned(found: Sequence[FoundCanal], corrections: Sequence[Correction]) -> tuple[Way, ...]:
    """The ways of all canals after the corrections, in order. Raises CorrectionError naming the one that does not fit."""
    ways = {canal.name: _as_found(canal) for canal in found}
    if len(ways) != len(found):
        raise CorrectionError("two canals of one name: name each canal once before correcting them")
    for number, correction in enumerate(corrections, 1):
        try:
            _apply(ways, correction)
        except CorrectionError as error:
            raise CorrectionError(f"correction {number}, {error}") from None
    return tuple(ways.values())


def _as_found(canal: FoundCanal) -> Way:
    centre = canal.lumen.centre[::-1]
    count = max(2, round(canal.length / APART) + 1)
    stops = centre[np.round(np.linspace(0, len(centre) - 1, count)).astype(int)]
    return Way(canal.name, stops, np.zeros(count, bool), canal)


def _apply(ways: dict[str, Way], correction: Correction) -> None:
    name, points = correction.canal, np.array(correction.points, float).reshape(-1, 3)
    if correction.kind is Kind.ADD_CANAL:
        if name in ways:
            raise CorrectionError(f"{correction}: there is a canal of this name; give another")
        ways[name] = Way(name, points, np.ones(len(points), bool), again=True, log=(correction,))
        return
    if name and name not in ways:
        there = ", ".join(ways) or "none"
        raise CorrectionError(f"{correction}: no canal of this name; there are {there}")
    if correction.kind is Kind.REMOVE_CANAL:
        del ways[name]
    elif correction.kind is Kind.BARRIER:
        normal = None if correction.normal is None else np.array(correction.normal)
        wall = Barrier(points[0], float(correction.radius or 0.0), normal)
        for one in [name] if name else list(ways):
            ways[one] = _logged(_barred(ways[one], wall), correction)
    elif correction.kind is Kind.ADD_PORTAL:
        way = ways[name]
        branch = PlannedPortal(points, correction.portal)
        ways[name] = replace(way, added=(*way.added, branch), log=(*way.log, correction))
    elif correction.kind is Kind.REMOVE_PORTAL:
        ways[name] = replace(_unbranched(ways[name], points[0], correction), log=(*ways[name].log, correction))
    else:
        ways[name] = _logged(_moved(ways[name], correction, points), correction)


def _logged(way: Way, correction: Correction) -> Way:
    return replace(way, again=True, log=(*way.log, correction))


def _moved(way: Way, correction: Correction, points: Array) -> Way:
    stops, fixed = way.stops, way.fixed
    if correction.kind is Kind.MOVE_POINT:
        arc = _arc(stops)
        at, away = _foot(stops, points[0])
        if away > OFF:
            raise CorrectionError(f"{correction}: the point lies {away:.1f} mm from the canal; pick one on its line")
        same = np.linalg.norm(stops - points[0], axis=1) < 0.5
        keep = (np.abs(arc - at) > FREED) | (fixed & ~same)
        keep[[0, -1]] = True
        where = int(np.searchsorted(arc[keep], at))
        where = min(max(where, 1), int(keep.sum()) - 1)
        stops = np.insert(stops[keep], where, points[1], axis=0)
        return replace(way, stops=stops, fixed=np.insert(fixed[keep], where, True))
    last = correction.kind is Kind.MOVE_TERMINUS
    if last:
        stops, fixed = stops[::-1], fixed[::-1]
    at, _ = _foot(stops, points[0])
    arc = _arc(stops)
    keep = (arc > at + FREED) | (fixed & (arc > at))
    keep[0], keep[-1] = False, True
    stops, fixed = np.vstack([points[:1], stops[keep]]), np.concatenate([[True], fixed[keep]])
    if last:
        stops, fixed = stops[::-1], fixed[::-1]
    return replace(way, stops=stops, fixed=fixed, pinned=way.pinned or last)


def _barred(way: Way, wall: Barrier) -> Way:
    """The way without the stops that the barrier covers, or that lie near a leg that it cuts."""
    bad = np.zeros(len(way.stops), bool)
    cut = wall.blocks(way.stops[:-1], way.stops[1:])
    for i in np.nonzero(cut)[0]:
        bad |= np.linalg.norm(way.stops - (way.stops[i] + way.stops[i + 1]) / 2, axis=1) < FREED
        bad[[i, i + 1]] = True
    keep = ~bad | way.fixed
    keep[[0, -1]] = True
    return replace(way, stops=way.stops[keep], fixed=way.fixed[keep], barriers=(*way.barriers, wall))


def _unbranched(way: Way, near: Array, correction: Correction) -> Way:
    """The way without its branch nearest to a place: one added by hand, or one that was found."""
    added = [float(np.linalg.norm(p.points - near, axis=1).min()) for p in way.added]
    portals = way.found.portals if way.found is not None else ()
    there = [float(np.linalg.norm(p.path - near, axis=1).min()) for p in portals]
    nearest = min([*added, *there], default=np.inf)
    if nearest > NEAR_PORTAL:
        raise CorrectionError(f"{correction}: no side branch within {NEAR_PORTAL:g} mm of the place; pick one on it")
    if nearest in added:
        out = added.index(nearest)
        return replace(way, added=way.added[:out] + way.added[out + 1 :])
    return replace(way, dropped=(*way.dropped, portals[there.index(nearest)].path[0]))


def _arc(stops: Array) -> Array:
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(stops, axis=0), axis=1))])


def _foot(stops: Array, point: Array) -> tuple[float, float]:
    """Arc length of the place on the stops' polyline nearest to `point`, and the distance."""
    arc, way = _arc(stops), np.diff(stops, axis=0)
    size = np.maximum(np.einsum("ij,ij->i", way, way), 1e-18)
    share = np.clip(np.einsum("ij,ij->i", point - stops[:-1], way) / size, 0, 1)
    away = np.linalg.norm(stops[:-1] + share[:, None] * way - point, axis=1)
    i = int(np.argmin(away))
    return float(arc[i] + share[i] * (arc[i + 1] - arc[i])), float(away[i])
