"""First drafts of the canals: an ordered line of points for each, where it ends coronally, and whom it meets.

A molar's canals end at the floor of the chamber: the lowest level, along the tooth's axis, at which
all canals hang together, if the lumen widens there (area 1.8 times that of the canals below). A
lumen that does not widen has no floor: its canals go on up to the CEJ plane when there is enamel to
show it, else to the roof of the pulp.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from canalwright.imaging.mesh_arms import Arm, leaves
from canalwright.imaging.mesh_branches import Branching

Array = NDArray[np.float64]

WIDENS = 1.8
AROUND = 0.75
"""Levels below and above a floor at which areas are compared, mm."""
SLIT = 3.0
"""Canals that meet less than this below the floor (mm) share a slit that is halved between them."""


@dataclass(frozen=True)
class Draft:
    """`points` (m, 3) from the terminus up; the canal ends where it crosses the plane `top` (point, normal).

    `meets`: number of the canal it meets and the point of meeting (its own draft's nearest), if any;
    `halves`: numbers of the canals with which it halves what they share; `whole_below` True when what
    is shared lies apically (two canals that end in one).
    """

    points: Array
    top: tuple[Array, Array]
    top_is: str
    meets: tuple[int, Array] | None = None
    halves: tuple[int, ...] = ()
    apical: bool = False


def drafts(
    b: Branching, alive: frozenset[int], arms: list[Arm], crown: Array, cej: tuple[Array, Array] | None
) -> list[Draft]:
    """A draft for each arm."""
    above = above_canals(b, alive, arms)
    floor = chamber_floor(b, arms, above, crown)
    roof = _roof(b, alive, crown)
    if floor is not None:
        top, top_is = (b.points[b.source] + (floor - b.points[b.source] @ crown) * crown, crown), "chamber floor"
    elif cej is not None:
        top, top_is = cej, "CEJ"
    else:
        top, top_is = (b.centre[roof[-1]], crown), "roof of the pulp"
    made = []
    for n, arm in enumerate(arms):
        points = _line(b, arm, roof)
        made.append(_meeting(b, arms, above, n, Draft(points, top, top_is)))
    return _halved(b, arms, above, made, crown, floor)


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
    pairs = b.links.tocoo()
    for _ in range(9):
        middle = (low + high) / 2
        free = keep & ((height <= middle) | np.isin(b.knot, seeds))
        use = free[pairs.row] & free[pairs.col]
        part = connected_components(
            sparse.csr_matrix((np.ones(use.sum()), (pairs.row[use], pairs.col[use])), shape=b.links.shape),
            directed=False,
        )[1]
        low, high = (low, middle) if len({int(part[s]) for s in starts}) == 1 else (middle, high)

    def area(level: float) -> float:
        return float((keep & (np.abs(height - level) < 0.1)).sum())

    return high if area(high + AROUND) >= WIDENS * area(high - AROUND) else None


def above_canals(b: Branching, alive: frozenset[int], arms: list[Arm]) -> frozenset[int]:
    """Knots beyond which a pulp horn lies as well: those of the chamber."""
    walked = {k for arm in arms for k in arm.knots}
    found: set[int] = set()
    stack = [p for k in alive - walked for p in b.parents[k]]
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


def _roof(b: Branching, alive: frozenset[int], crown: Array) -> list[int]:
    """Knots from the source to the leaf that lies highest."""
    top = max(leaves(b, alive), key=lambda k: float(b.centre[k] @ crown))
    way = [top]
    while up := [p for p in b.parents[way[-1]] if p in alive]:
        way.append(up[0])
    return way[::-1]


def _line(b: Branching, arm: Arm, roof: list[int]) -> Array:
    """Tip, middles of the shells up to the source, and on to the roof; shells about the source count once."""
    ball = b.room[b.source]
    up = [k for k in arm.knots[1:] if (b.level[k] + 1) * b.step > ball]
    on = [k for k in roof if (b.level[k] + 1) * b.step > ball and k not in arm.knots]
    return np.vstack([b.points[arm.tip], b.centre[up], b.points[b.source], b.centre[on]])


def _meeting(b: Branching, arms: list[Arm], above: frozenset[int], n: int, draft: Draft) -> Draft:
    """Where canal `n`, going up from its own part, first meets another; or down, when they share the terminus."""
    own = _own(arms, arms[n], above)
    if not own:
        return draft
    for i in range(own[-1] + 1, len(arms[n].knots)):
        knot = arms[n].knots[i]
        if knot in above:
            break
        for m, other in enumerate(arms):
            if m != n and knot in other.knots:
                return replace(draft, meets=(m, b.centre[arms[n].knots[own[-1]]]))
    if own[0] > 0:
        knot = arms[n].knots[own[0] - 1]
        m = next(m for m, other in enumerate(arms) if m != n and knot in other.knots)
        return replace(draft, meets=(m, b.centre[arms[n].knots[own[0]]]), apical=True)
    return draft


def _halved(
    b: Branching, arms: list[Arm], above: frozenset[int], made: list[Draft], crown: Array, floor: float | None
) -> list[Draft]:
    """Let canals that meet in a short slit below the floor share it out, each taking the voxels nearer to it."""
    if floor is None:
        return made
    out = list(made)
    for n, draft in enumerate(made):
        if draft.meets is None or draft.apical:
            continue
        m, place = draft.meets
        if made[m].meets is None or floor - float(place @ crown) > SLIT:
            continue
        mine, theirs = (b.centre[[arms[i].knots[k] for k in _own(arms, arms[i], above)]] for i in (n, m))
        shared = [k for k in arms[n].knots if k in arms[m].knots and float(b.centre[k] @ crown) < floor + 0.5]
        points = list(b.centre[[arms[n].knots[k] for k in _own(arms, arms[n], above)]])
        for knot in shared:
            here = b.points[b.knot == knot]
            nearer = cKDTree(mine).query(here)[0] <= cKDTree(theirs).query(here)[0]
            if nearer.sum() >= 5:
                points.append(here[nearer].mean(axis=0))
        out[n] = replace(draft, points=np.vstack([b.points[arms[n].tip], *points]), halves=(m,))
    return out
