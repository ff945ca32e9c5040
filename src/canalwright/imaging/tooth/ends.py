"""The dead ends of a hollow: its nodes cut into shells by their way from a seed, the shells' parts a tree, its leaves the ends."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label

Array = NDArray[np.float64]
SHELL = 0.4
SHORTEST = 2.0
"""Length beyond a branching from which a dead end is a canal, mm."""


def dead_ends(far: Array) -> list[tuple[int, int, int]]:
    """Farthest node of every shell part that no farther part touches, when it is `SHORTEST` past its last branching.

    Where two fronts that came down by different ways meet is no end.
    """
    shells = np.where(np.isfinite(far), np.floor(far / SHELL), -1).astype(int)
    parts: dict[tuple[int, int], NDArray[np.int_]] = {}
    names = np.zeros(far.shape, int)
    number = 0
    for shell in range(int(shells.max()) + 1):
        found, count = label(shells == shell, np.ones((3, 3, 3)))
        names[found > 0] = found[found > 0] + number
        for n in range(1, count + 1):
            parts[(shell, number + n)] = np.argwhere(found == n)
        number += count
    children: dict[int, set[int]] = {n: set() for _, n in parts}
    parent: dict[int, int] = {}
    meets: set[int] = set()
    padded = np.pad(names, 1)
    for (shell, n), nodes in parts.items():
        around = {
            int(padded[tuple(nodes.T + 1 + np.array(s)[:, None])].max())
            for s in ((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1))
        } | set(np.unique(padded[tuple((nodes + 1 + np.array([0, 0, 0])).T)]))
        for s in np.argwhere(np.ones((3, 3, 3))) - 1:
            around |= set(np.unique(padded[tuple((nodes + 1 + s).T)]))
        lower = [m for sh, m in parts if sh == shell - 1 and m in around]
        if lower:
            parent[n] = lower[0]
            behind = [_behind(m, parent) for m in lower]
            meets |= {n} if any(behind[0].isdisjoint(b) for b in behind[1:]) else set()
            for m in lower:
                children[m].add(n)
    shell_of = {n: shell for shell, n in parts}
    ends = []
    for (shell, n), nodes in parts.items():
        if children[n] or n in meets:
            continue
        at, length = n, 0
        while at in parent and len(children[parent[at]]) == 1:
            at, length = parent[at], length + 1
        if (length + 1) * SHELL >= SHORTEST or at not in parent:
            best = nodes[int(np.argmax(far[tuple(nodes.T)]))]
            ends.append((int(best[0]), int(best[1]), int(best[2])))
        assert shell_of[n] == shell
    return ends


def _behind(part: int, parent: dict[int, int]) -> set[int]:
    """A shell's part and those it came from, as far back as a canal is long."""
    out = {part}
    for _ in range(round(SHORTEST / SHELL)):
        if part not in parent:
            break
        part = parent[part]
        out.add(part)
    return out
