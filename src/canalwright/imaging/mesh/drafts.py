"""First drafts of the canals: an ordered line of points for each, where it ends coronally, and whom it meets.

A molar's canals end at the floor of the chamber: the lowest level, along the tooth's axis, at which
all canals hang together, if the lumen widens there (area 1.8 times that of the canals below). A
lumen that does not widen has no floor: its canals go on up to the CEJ plane that the enamel
shows, or the tooth's average, else to the roof of the pulp.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from canalwright.imaging.mesh.arms import Arm
from canalwright.imaging.mesh.branches import Branching
from canalwright.imaging.mesh.crown import Cej

Array = NDArray[np.float64]

WIDENS = 1.8
AROUND = 0.75
"""Levels below and above a floor at which areas are compared, mm."""
AT_FLOOR = 0.4
"""Canals that meet within this of the floor (mm) meet in the chamber."""
SLIT = 3.0
"""Canals that meet less than this below the floor (mm) share a slit that is halved between them."""


@dataclass(frozen=True)
class Draft:
    """`points` (m, 3) from the terminus up; the canal ends where it crosses the plane `top` (point, normal).

    `meets`: number of the canal it meets and the point of meeting (its own draft's nearest), if any;
    `halves`: numbers of the canals with which it halves what they share; `apical` True when what
    is shared lies below the meeting (two canals that end in one).
    """

    points: Array
    top: tuple[Array, Array]
    top_is: str
    meets: tuple[int, Array] | None = None
    halves: tuple[int, ...] = ()
    apical: bool = False


def drafts(
    b: Branching,
    alive: frozenset[int],
    arms: list[Arm],
    horns: list[int],
    crown: Array,
    cej: Cej | None,
) -> list[Draft]:
    """A draft for each arm; `horns` are the leaves that are no termini."""
    above = _ancestors(b, alive, horns)
    floor = chamber_floor(b, arms, above, crown)
    roof = _roof(b, alive, horns, crown)
    if floor is not None:
        top, top_is = (b.points[b.source] + (floor - b.points[b.source] @ crown) * crown, crown), "chamber floor"
    elif cej is not None:
        top, top_is = (cej.point, cej.normal), cej.how
    else:
        top, top_is = (roof[-1] if len(roof) else b.points[b.source], crown), "roof of the pulp"
    ceiling = floor if floor is not None else np.inf
    made = [Draft(_line(b, arm, roof), top, top_is) for arm in arms]
    made = [_meeting(b, arms, above, n, draft, crown, ceiling) for n, draft in enumerate(made)]
    return _halved(b, arms, above, made, crown, ceiling)


def chamber_floor(b: Branching, arms: list[Arm], above: frozenset[int], crown: Array) -> float | None:
    """Height along `crown` of the chamber floor, None for one canal or a lumen that does not widen there."""
    if len(arms) < 2:
        return None
    seeds, beyond = [], set()
    for arm in arms:
        own = _own(arms, arm, above)
        at = max(0, own[-1] - int(1.0 / b.step)) if own else 0
        seeds.append(arm.knots[at])
        beyond |= set(arm.knots[:at])
    keep = ~b.voxels(beyond) & (b.level[b.knot] >= 0)
    height = b.points @ crown
    starts = [int(np.nonzero(b.knot == seed)[0][0]) for seed in seeds]
    low, high = float(height[starts].max()), float(height[keep].max())
    first, second = sparse.triu(b.links).nonzero()
    for _ in range(9):
        middle = (low + high) / 2
        free = keep & ((height <= middle) | np.isin(b.knot, seeds))
        use = free[first] & free[second]
        part = connected_components(
            sparse.csr_matrix((np.ones(use.sum()), (first[use], second[use])), shape=b.links.shape),
            directed=False,
        )[1]
        low, high = (low, middle) if len({int(part[s]) for s in starts}) == 1 else (middle, high)

    def area(level: float) -> float:
        return float((keep & (np.abs(height - level) < 0.1)).sum())

    return high if area(high + AROUND) >= WIDENS * area(high - AROUND) else None


def _ancestors(b: Branching, alive: frozenset[int], horns: list[int]) -> frozenset[int]:
    """Horns and all knots on the ways to them: they belong to the chamber."""
    found: set[int] = set()
    stack = list(horns)
    while stack:
        knot = stack.pop()
        if knot not in found:
            found.add(knot)
            stack.extend(p for p in b.parents[knot] if p in alive)
    return frozenset(found)


def _own(arms: list[Arm], arm: Arm, above: frozenset[int]) -> list[int]:
    """Places along an arm that belong to no other arm and lie below the chamber."""
    others = {k for other in arms if other is not arm for k in other.knots} | above
    return [i for i, k in enumerate(arm.knots) if k not in others]


def _roof(b: Branching, alive: frozenset[int], horns: list[int], crown: Array) -> Array:
    """Points from the source to the highest horn, the source left out; straight up where there is no horn."""
    source, ball = b.points[b.source], b.room[b.source]
    if not horns:
        rise = float((b.points[b.level[b.knot] >= 0] @ crown).max() - source @ crown)
        return np.asarray(source + np.arange(b.step, rise, b.step)[:, None] * crown)
    way = [max(horns, key=lambda k: float(b.centre[k] @ crown))]
    while up := [p for p in b.parents[way[-1]] if p in alive]:
        way.append(up[0])
    return b.centre[[k for k in way[::-1] if (b.level[k] + 1) * b.step > ball]]


def _line(b: Branching, arm: Arm, roof: Array) -> Array:
    """Tip, middles of the shells up to the source, and on to the roof; shells about the source count once."""
    up = [k for k in arm.knots[1:] if (b.level[k] + 1) * b.step > b.room[b.source]]
    shared = b.centre[list(arm.knots)]
    on = [p for p in roof if np.abs(shared - p).max(axis=1).min() > 0]
    return np.vstack([b.points[arm.tip], b.centre[up], b.points[b.source], *on])


def _meeting(
    b: Branching, arms: list[Arm], above: frozenset[int], n: int, draft: Draft, crown: Array, ceiling: float
) -> Draft:
    """Where canal `n` leaves another, going up, when they share the terminus; else where it first meets one."""
    knots = arms[n].knots
    own = _own(arms, arms[n], above)

    def partner(knot: int) -> int | None:
        return next((m for m, other in enumerate(arms) if m != n and knot in other.knots), None)

    if own and own[0] > 0 and (m := partner(knots[own[0] - 1])) is not None:
        return replace(draft, meets=(m, b.centre[knots[own[0]]]), apical=True)
    for knot in knots[own[-1] + 1 :] if own else ():
        if knot in above or float(b.centre[knot] @ crown) > ceiling - AT_FLOOR:
            break
        if (m := partner(knot)) is not None:
            return replace(draft, meets=(m, b.centre[knots[own[-1]]]))
    return draft


def _halved(
    b: Branching, arms: list[Arm], above: frozenset[int], made: list[Draft], crown: Array, ceiling: float
) -> list[Draft]:
    """Let canals that meet in a short slit below the floor share it out, each taking the voxels nearer to it."""
    out = list(made)
    for n, draft in enumerate(made):
        if draft.meets is None or draft.apical or not np.isfinite(ceiling):
            continue
        m, place = draft.meets
        if made[m].apical or ceiling - float(place @ crown) > SLIT:
            continue
        mine, theirs = (b.centre[[arms[i].knots[k] for k in _own(arms, arms[i], above)]] for i in (n, m))
        shared = [k for k in arms[n].knots if k in arms[m].knots and float(b.centre[k] @ crown) < ceiling + 0.5]
        points = list(b.centre[[arms[n].knots[k] for k in _own(arms, arms[n], above)]])
        for knot in shared:
            here = b.points[b.knot == knot]
            nearer = cKDTree(mine).query(here)[0] <= cKDTree(theirs).query(here)[0]
            if nearer.sum() >= 5:
                points.append(here[nearer].mean(axis=0))
        out[n] = replace(draft, points=np.vstack([b.points[arms[n].tip], *points]), halves=(m,))
    return out
