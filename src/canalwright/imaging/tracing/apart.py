"""Canals of one root kept apart: what lies nearer to another canal's way than to one's own belongs to the other.

Two canals that share an isthmus or a chamber's floor would otherwise be one: the wider is the quicker way for the narrower
one's trace, and its greys are the narrower one's too. Where the ways themselves run together nothing is parted.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
OWN = 0.4
"""What lies this near to a canal's own way is its own, mm; ways nearer than this to each other are one."""
STEP = 0.1
MEET = 1.2
"""Distance to another's way below which a canal is thought to turn towards it, mm."""


@dataclass(frozen=True)
class Apart:
    """A canal's `own` way and the ways of `others`, each (m, 3) LPS mm."""

    own: Array
    others: tuple[Array, ...]
    sure: bool = False
    """The own way is known to run in the canal's middle: what is nearer to another's is another's, wherever a fit has drifted to."""

    @cached_property
    def _trees(self) -> tuple[cKDTree, cKDTree]:
        return cKDTree(dense(self.own)), cKDTree(np.vstack([dense(way) for way in self.others]))

    def shuts(self, points: Array) -> Mask:
        """Places (..., 3) that are another's."""
        mine, theirs = self._trees
        own, _ = mine.query(points)
        other, _ = theirs.query(points, distance_upper_bound=8.0)
        return np.asarray((own > OWN) & (other < own))

    def takes(self, centre: Array, points: Array) -> Mask:
        """Which of `points` (n, 3), seen across the canal from its `centre` (n, 3) there, are another's, shape (n,)."""
        if self.sure:
            return self._nearer(points)
        _, theirs = self._trees
        away = np.linalg.norm(points - centre, axis=1)
        other, _ = theirs.query(points, distance_upper_bound=8.0)
        near = np.nonzero(other < away)[0]
        out = np.zeros(len(points), bool)
        parted, _ = theirs.query(centre[near])
        out[near] = parted > OWN
        return out

    def _nearer(self, points: Array) -> Mask:
        """Which of `points` (n, 3) lie nearer to a way that does not run with the own one there, shape (n,)."""
        mine = self._trees[0]
        away, at = mine.query(points)
        here = mine.data[at]
        out = np.zeros(len(points), bool)
        for way in self.others:
            theirs = cKDTree(dense(way))
            near = np.nonzero(theirs.query(points, distance_upper_bound=8.0)[0] < away)[0]
            out[near] |= theirs.query(here[near])[0] > OWN
        return out

    def meets(self, points: Array) -> Mask:
        """Which places (n, 3) of the canal lie where it meets another, or runs with it, shape (n,)."""
        return np.asarray(self._trees[1].query(points)[0] < MEET)


def dense(way: Array) -> Array:
    """Points (k, 3) along a way (m, 3), at most `STEP` mm apart."""
    way = np.asarray(way, float)
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(way, axis=0), axis=1))])
    at = np.linspace(0.0, arc[-1], max(2, int(np.ceil(arc[-1] / STEP)) + 1))
    return np.column_stack([np.interp(at, arc, c) for c in way.T])


def parted(ways: Sequence[Array], which: int) -> Apart | None:
    """The way `which` of several parted from the others; None for a single one."""
    others = tuple(way for n, way in enumerate(ways) if n != which)
    return Apart(ways[which], others) if others else None
