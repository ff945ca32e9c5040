"""How a lumen branches: the Reeb graph of the way through it, counted from its widest place.

The lumen is filled with small voxels. The length of the shortest way through them from the source
(the voxel farthest from any wall, in the chamber as a rule) cuts the lumen into shells 0.2 mm thick;
the connected parts of each shell are the knots of a graph (Reeb 1946; on voxels as by Lazarus &
Verroust 1999, IEEE Shape Modeling). A canal is an arm of that graph; where two arms meet, canals
join; an arm that ends is a terminus, a pulp horn or a side branch. Horizontal planes would cut a
hooked canal twice, these shells do not.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import cKDTree

from canalwright.imaging.mesh.surfaces import Surface
from canalwright.imaging.mesh.voxels import Block, block, fill, sample, touch

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

FINEST, COARSEST = 0.05, 0.1
MOST_VOXELS = 25_000_000
SHELL = 4
"""Thickness of a shell in voxels."""


@dataclass(frozen=True)
class Branching:
    """Voxels of a lumen and the knots (connected parts of shells) they belong to.

    `points` (v, 3) voxel centres, `room` (v,) distance to the wall, `way` (v,) length of the way from
    the source, `knot` (v,) knot of each voxel. By knot: `level` (k,) shell number, `centre` (k, 3),
    `radius` (k,) greatest `room`; `parents` and `children`: neighbours one shell nearer and farther.
    """

    points: Array
    room: Array
    way: Array
    knot: Ints
    level: Ints
    centre: Array
    radius: Array
    parents: tuple[tuple[int, ...], ...]
    children: tuple[tuple[int, ...], ...]
    links: sparse.csr_matrix
    source: int
    step: float

    def voxels(self, knots: set[int]) -> NDArray[np.bool_]:
        """Which voxels belong to the knots, shape (v,)."""
        return np.isin(self.knot, list(knots))


def branching(lumen: Surface, near: Array | None = None) -> Branching:
    """The branching of a lumen; `near` (3,) puts the source at the voxel nearest to it."""
    low, high = lumen.vertices.min(axis=0), lumen.vertices.max(axis=0)
    size = float(np.clip((np.prod(high - low) / MOST_VOXELS) ** (1 / 3), FINEST, COARSEST))
    space = block((low, high), size)
    inside = fill(lumen.vertices, lumen.faces, space)
    index = np.argwhere(inside | touch(lumen.vertices, lumen.faces, space))
    points = space.origin + size * index
    wall, _ = cKDTree(_thinned(sample(lumen.vertices, lumen.faces, 2 * size)[0], space)).query(points)
    room = np.where(inside[tuple(index.T)], wall, 0.0)
    first, second, length = _neighbours(index, inside.shape, size)
    links = sparse.csr_matrix((length, (first, second)), shape=(len(index), len(index)))
    links = links + links.T
    source = int(np.argmax(room)) if near is None else int(cKDTree(points).query(near)[1])
    way = dijkstra(links, indices=source)
    here = np.isfinite(way)
    return _knots(points, room, way, here, first, second, links, source, SHELL * size)


def _thinned(points: Array, space: Block) -> Array:
    """One point for each voxel that holds any."""
    _, first = np.unique(np.ravel_multi_index(tuple(space.index(points).T), space.filled.shape), return_index=True)
    return points[first]


def _neighbours(index: Ints, shape: tuple[int, ...], size: float) -> tuple[Ints, Ints, Array]:
    """Pairs of touching voxels (26 neighbours, each pair once) and the distance of their centres."""
    number = np.full(shape, -1, dtype=np.int64)
    number[tuple(index.T)] = np.arange(len(index))
    firsts, seconds, lengths = [], [], []
    for step in np.ndindex(3, 3, 3):
        shift = np.array(step) - 1
        if tuple(shift) <= (0, 0, 0):
            continue
        other = number[tuple((index + shift).T)]
        first = np.nonzero(other >= 0)[0]
        firsts.append(first)
        seconds.append(other[first])
        lengths.append(np.full(len(first), size * float(np.linalg.norm(shift))))
    return np.concatenate(firsts), np.concatenate(seconds), np.concatenate(lengths)


def _knots(
    points: Array, room: Array, way: Array, here: NDArray[np.bool_], first: Ints, second: Ints,
    links: sparse.csr_matrix, source: int, step: float,
) -> Branching:  # fmt: skip
    shell = np.where(here, np.floor(np.where(here, way, 0.0) / step), -1).astype(np.int64)
    same = shell[first] == shell[second]
    count, knot = connected_components(
        sparse.csr_matrix((np.ones(same.sum()), (first[same], second[same])), shape=(len(points),) * 2), directed=False
    )
    size = np.bincount(knot, minlength=count)
    centre = np.stack([np.bincount(knot, points[:, a], count) for a in range(3)], axis=1) / size[:, None]
    radius, level = np.zeros(count), np.full(count, -1, dtype=np.int64)
    np.maximum.at(radius, knot, room)
    level[knot] = shell
    one, other = knot[first[~same]].astype(np.int64), knot[second[~same]].astype(np.int64)
    keys = np.unique(np.minimum(one, other) * count + np.maximum(one, other))
    parents: list[list[int]] = [[] for _ in range(count)]
    children: list[list[int]] = [[] for _ in range(count)]
    for a, b in zip((keys // count).tolist(), (keys % count).tolist(), strict=True):
        up, down = (a, b) if level[a] < level[b] else (b, a)
        parents[down].append(up)
        children[up].append(down)
    return Branching(
        points, room, way, knot.astype(np.int64), level, centre, radius,
        tuple(map(tuple, parents)), tuple(map(tuple, children)), links, source, step,
    )  # fmt: skip
