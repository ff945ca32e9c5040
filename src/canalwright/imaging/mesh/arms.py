"""From the branching of a lumen to its canals: which arms end apically, and by which way they reach the chamber."""

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.mesh.branches import Branching

Array = NDArray[np.float64]

SPUR = 1.0
"""A dead end shorter than this (mm), or than 1.5 times the half-width it leaves from, is roughness of the wall."""
SIDE_BRANCH = 3.0
"""A dead end shorter than this (mm) off a canal that goes deeper is a side branch, not a canal."""
LOOP = 1.5
"""Two ways round an island of dentine count as two canals when both are longer than this, mm."""
MOST_WAYS = 64


@dataclass(frozen=True)
class Arm:
    """One canal as knots of the branching from its terminus to the source; `tip` is the voxel it ends in."""

    knots: tuple[int, ...]
    tip: int


@dataclass(frozen=True)
class Spur:
    """A side branch: voxel where it ends and knot it leaves from."""

    tip: int
    knot: int


def prune(b: Branching) -> frozenset[int]:
    """Knots that are left when roughness is taken off: dead ends of no length, the shortest first."""
    alive = {k for k in range(len(b.level)) if b.level[k] >= 0}
    while True:
        spurs = []
        for leaf in alive:
            if any(c in alive for c in b.children[leaf]):
                continue
            chain, root = dead_end(b, alive, leaf)
            length = len(chain) * b.step
            if root >= 0 and length < max(SPUR, 1.5 * b.radius[root]):
                spurs.append((length, leaf, chain))
        if not spurs:
            return frozenset(alive)
        alive -= set(min(spurs, key=lambda s: (s[0], s[1]))[2])


def dead_end(b: Branching, alive: set[int] | frozenset[int], leaf: int) -> tuple[list[int], int]:
    """The chain of knots of a leaf up to, not including, the knot where something else goes on; -1: the source."""
    chain = [leaf]
    while True:
        up = [p for p in b.parents[chain[-1]] if p in alive]
        if not up:
            return chain, -1
        if len(up) > 1 or sum(c in alive for c in b.children[up[0]]) > 1:
            return chain, up[0]
        chain.append(up[0])


def leaves(b: Branching, alive: frozenset[int]) -> list[int]:
    """Knots with nothing beyond them, longest way first."""
    ends = [k for k in alive if not any(c in alive for c in b.children[k])]
    return sorted(ends, key=lambda k: (-b.level[k], *b.centre[k]))


def tip(b: Branching, leaf: int) -> int:
    """The voxel of a leaf that is farthest from the source."""
    here = np.nonzero(b.knot == leaf)[0]
    return int(here[np.argmax(b.way[here])])


def canals(b: Branching, alive: frozenset[int], apical: list[int]) -> tuple[list[Arm], list[Spur]]:
    """Canals and side branches among the leaves `apical`.

    Each terminus gets one way to the source; where ways part and meet again (LOOP), the ways are
    chosen so that every part is walked, with more canals than termini if need be.
    """
    termini, spurs = _without_side_branches(b, alive, apical)
    ways = [_ways(b, alive, leaf) for leaf in termini]
    chosen = _cover(b, ways)
    return [Arm(way, tip(b, way[0])) for way in chosen], spurs


def _without_side_branches(b: Branching, alive: frozenset[int], apical: list[int]) -> tuple[list[int], list[Spur]]:
    left, spurs = set(alive), []
    termini = list(apical)
    for leaf in sorted(apical, key=lambda k: b.level[k]):
        chain, root = dead_end(b, left, leaf)
        if root < 0 or len(chain) * b.step >= SIDE_BRANCH:
            continue
        if any(_reaches(b, left - set(chain), root, other) for other in termini if other != leaf):
            termini.remove(leaf)
            spurs.append(Spur(tip(b, leaf), root))
            left -= set(chain)
    return termini, spurs


def _reaches(b: Branching, alive: set[int], start: int, leaf: int) -> bool:
    seen, stack = set(), [leaf]
    while stack:
        knot = stack.pop()
        if knot == start:
            return True
        if knot not in seen:
            seen.add(knot)
            stack.extend(p for p in b.parents[knot] if p in alive)
    return False


def _ways(b: Branching, alive: frozenset[int], leaf: int) -> list[tuple[int, ...]]:
    """All ways up from a leaf, at most 64, widest first."""
    done: list[tuple[int, ...]] = []
    stack: list[tuple[int, ...]] = [(leaf,)]
    while stack and len(done) < MOST_WAYS:
        way = stack.pop()
        up = sorted((p for p in b.parents[way[-1]] if p in alive), key=lambda p: b.radius[p])
        if up:
            stack.extend((*way, p) for p in up)
        else:
            done.append(way)
    return done


def _cover(b: Branching, ways: list[list[tuple[int, ...]]]) -> list[tuple[int, ...]]:
    if all(len(one) == 1 for one in ways):
        return [one[0] for one in ways]
    worth = _long_parts(b, ways)
    best: tuple[tuple[float, float], list[tuple[int, ...]]] | None = None
    for pick in product(*(one[:8] for one in ways)):
        walked = set().union(*pick)
        score = (sum(len(part) for part in worth if part <= walked), -sum(_jumps(b, way) for way in pick))
        if best is None or score > best[0]:
            best = score, list(pick)
    chosen = best[1] if best else []
    every = [way for one in ways for way in one]
    for part in worth:
        if not any(part <= set(way) for way in chosen):
            able = [way for way in every if part <= set(way)]
            if able:
                chosen.append(min(able, key=lambda way: _jumps(b, way)))
    return chosen


def _long_parts(b: Branching, ways: list[list[tuple[int, ...]]]) -> list[frozenset[int]]:
    """Stretches between the places where ways part or meet, those longer than LOOP."""
    walked = {k for one in ways for way in one for k in way}
    parts: set[frozenset[int]] = set()
    for one in ways:
        for way in one:
            part: list[int] = []
            for knot in way:
                forks = sum(p in walked for p in b.parents[knot]) > 1 or sum(c in walked for c in b.children[knot]) > 1
                if not forks:
                    part.append(knot)
                if (forks or knot == way[-1]) and part:
                    parts.add(frozenset(part))
                    part = []
    return sorted((p for p in parts if len(p) * b.step >= LOOP), key=lambda p: (-len(p), min(p)))


def _jumps(b: Branching, way: tuple[int, ...]) -> float:
    """How far a way is longer than need be: the length of its knots' polyline."""
    return float(np.linalg.norm(np.diff(b.centre[list(way)], axis=0), axis=1).sum())
