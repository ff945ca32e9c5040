"""Where canals begin: the floor of the pulp chamber, told from an isthmus and from a canal that parts in two.

At one height two ways through the pulp are in one room where what lies between them in that slice is nearly as dark as they
are; an isthmus is not. Where such a room falls apart on the way down, that is the chamber's floor when the two then run in
different roots, or when the pulp opens above it: it is there `OPENS` times as wide in section as what leaves it, and no
deeper under the enamel than `DEEPEST`. A canal that parts in two opens no room: its trunk is canal, and begins at the enamel.
"""

from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label, median_filter

from canalwright.imaging.tooth.outline import STEP, Tooth

Array = NDArray[np.float64]
Nodes = NDArray[np.int_]
BETWEEN = 0.6
"""Share of the fainter way's darkness that what lies between two ways of one room has."""
FALLEN = 0.75
"""Length over which two ways are apart once their room has fallen apart, mm."""
OPENS = 1.5
"""Section of the pulp above a floor over that of the canals below it. A canal that parts keeps its section or loses some."""
DEEPEST = 3.5
"""How far below the enamel's border the floor of a single root lies at most, mm."""
ABOUT = 1.0
"""What lies this near to a way counts to its section, mm."""
FURCATED = 6.0
"""How far below the floor the root has parted in two, where its roots tell of the floor, mm."""
ROOF = 3.0
"""Height below the highest place of the pulp in which its tops are looked for where no enamel is seen, mm."""
HORNS = 4.0
"""How far below their tops two ways come into one room at the latest: horns of the pulp, mm."""
NARROW = 0.6
"""Inscribed radius at which a canal below the chamber floor is a canal, mm."""
BELOW = 0.8
"""How far below the meeting of two ways on the chamber floor an orifice is taken, mm."""
EIGHT = np.ones((3, 3))


def tops(tooth: Tooth, wide: Array) -> list[tuple[int, int, int]]:
    """The highest node of every hollow of the crown, from which its canals go down: one for a chamber, one for each canal
    that runs up by itself. `wide`: the pulp's inscribed radius (mm) by node.
    """
    broad = tooth.pulp & (wide >= min(2 * STEP, 0.6 * float(wide.max())))
    highest = int(np.argwhere(broad)[:, 0].max())
    level = tooth.cej if tooth.cej is not None and tooth.cej < highest else highest - ROOF / STEP
    crown = broad.copy()
    crown[: max(0, int(np.ceil(level)))] = False
    names, _ = label(crown & (tooth.dark > 0.5), np.ones((3, 3, 3)))
    if not names.any():
        names, _ = label(crown, np.ones((3, 3, 3)))
    out = []
    for name in range(1, int(names.max()) + 1):
        nodes = np.argwhere(names == name)
        z, y, x = nodes[int(np.argmax(nodes[:, 0]))]
        out.append((int(z), int(y), int(x)))
    return out


def chamber_floor(tooth: Tooth, paths: list[Nodes]) -> float | None:
    """Height (node) of the chamber's floor, the lowest of those between any two of the `paths` (each end first); None without."""
    found = []
    for one, other in combinations(paths, 2):
        height = parting(tooth, one, other)
        if height is not None and (_two_roots(tooth, one, other, height) or _opens(tooth, paths, (one, other), height)):
            found.append(height)
    return float(min(found)) if found else None


def parting(tooth: Tooth, one: Nodes, other: Nodes) -> int | None:
    """Height (node) of the lowest slice of the room that two ways share near their tops; None where they share none."""
    low, high = max(one[0][0], other[0][0]), min(one[-1][0], other[-1][0])
    last, away = None, 0
    for z in range(high, low - 1, -1):
        if _one_room(np.where(tooth.pulp[z], tooth.dark[z], 0.0), _at(one, z), _at(other, z)):
            last, away = z, 0
            continue
        away += 1
        if away * STEP >= (FALLEN if last is not None else HORNS):
            break
    return last


def mouth(tooth: Tooth, path: Nodes, wide: Array, floor: float | None) -> int:
    """Index on `path` (end first) of the orifice: at the chamber's `floor`, else at the enamel's border, else where the pulp
    is widest.
    """
    if floor is not None:
        radius = wide[tuple(path.T)]
        low, high = (int(np.argmax(path[:, 0] >= floor - b / STEP)) for b in (BELOW + 1.0, BELOW))
        narrow = np.nonzero(radius[low : high + 1] <= NARROW)[0]
        return low + int(narrow[-1]) if len(narrow) else low
    if tooth.cej is not None:
        above = np.nonzero(path[:, 0] >= tooth.cej)[0]
        return int(above[0]) if len(above) else len(path) - 1
    section = median_filter(np.array([_section(tooth, [p], int(p[0])) for p in path]), 5, mode="nearest")
    return int(np.nonzero(section > 0.85 * section.max())[0][0])


def _at(path: Nodes, z: int) -> Nodes:
    """The node of a way (end first) where it first comes up to height `z`."""
    return np.asarray(path[min(int(np.searchsorted(np.maximum.accumulate(path[:, 0]), z)), len(path) - 1)])


def _one_room(dark: Array, one: Nodes, other: Nodes) -> bool:
    """Whether two nodes of one slice lie in one hollow that is nowhere much fainter than the fainter of them."""
    spots = [_darkest(dark, int(node[1]), int(node[2])) for node in (one, other)]
    least = min(float(dark[spot]) for spot in spots)
    if least <= 0:
        return False
    names, _ = label(dark > BETWEEN * least, EIGHT)
    return bool(names[spots[0]] == names[spots[1]])


def _darkest(dark: Array, y: int, x: int) -> tuple[int, int]:
    """The darkest node within one of (y, x)."""
    top, left = max(y - 1, 0), max(x - 1, 0)
    part = dark[top : y + 2, left : x + 2]
    j, i = np.unravel_index(int(np.argmax(part)), part.shape)
    return top + int(j), left + int(i)


def _opens(tooth: Tooth, paths: list[Nodes], pair: tuple[Nodes, Nodes], height: int) -> bool:
    """Whether the room above `height` is wider than the two ways that leave it, and where a chamber is."""
    middle = (min(p[0][0] for p in paths) + max(p[-1][0] for p in paths)) / 2
    if height < (middle if tooth.cej is None else tooth.cej - DEEPEST / STEP):
        return False
    above, below = (
        float(np.median([_section(tooth, [_at(p, z) for p in pair], z) for z in range(height + a, height + b)]))
        for a, b in ((2, 6), (-6, -2))
    )
    return above > OPENS * below


def _section(tooth: Tooth, nodes: list[Nodes], z: int) -> float:
    """Section (mm2) of the pulp at height `z` about some of its nodes, a grey half as dark counted as half."""
    z = min(max(z, 0), len(tooth.dark) - 1)
    y, x = np.nonzero(tooth.pulp[z])
    near = np.zeros(len(y), bool)
    for node in nodes:
        near |= np.hypot(y - node[1], x - node[2]) * STEP <= ABOUT
    return float(tooth.dark[z][y[near], x[near]].sum()) * STEP**2


def _two_roots(tooth: Tooth, one: Nodes, other: Nodes, height: int) -> bool:
    """Whether the two ways run in different roots somewhere in the `FURCATED` mm below `height`."""
    apart = 0
    for z in range(max(one[0][0], other[0][0], height - round(FURCATED / STEP)), height):
        names, _ = label(tooth.solid[z])
        a, b = (int(names[node[1], node[2]]) for node in (_at(one, z), _at(other, z)))
        apart += a != b and a > 0 and b > 0
    return apart * STEP >= 1.0
