"""A phantom's canal filled as one wishes: where the filling ends, what voids it has, what went into branches and beyond the root.

Invented shapes, for tests and teaching. Everything is known: `filled` lays lumen, root and filling on a fine grid as shares of each
cell, from which a radiograph (`projection`) or scans before and after (`pair`) are made.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from canalwright.imaging.phantom.fill import fill
from canalwright.imaging.phantom.scan import Phantom, TrueCanal

Array = NDArray[np.float64]
Shares = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Bubble:
    """A ball of nothing in the filling: its middle at station `z`, `aside` along the greatest width and `off` across it, diameter; mm."""

    z: float
    size: float
    aside: float = 0.0
    off: float = 0.0

    @property
    def volume(self) -> float:
        """mm3, where all of it lies within the filling."""
        return float(np.pi / 6 * self.size**3)


@dataclass(frozen=True, slots=True)
class Branch:
    """A round side branch at station `z` towards `towards` degrees about the line (0: the greatest width), from the line to the
    root's surface; `filled` mm of it from the canal's wall on.
    """

    z: float
    diameter: float
    towards: float = 0.0
    filled: float = 0.0


@dataclass(frozen=True, slots=True)
class Filling:
    """A filling of the first canal from station `end` (negative: beyond the terminus is told by `puff` alone) to `top`.

    `puff`: diameter of a ball of filling that sits on the terminus outside the root, 0 for none.
    """

    end: float = 0.5
    top: float = 8.0
    bubbles: tuple[Bubble, ...] = ()
    branches: tuple[Branch, ...] = ()
    puff: float = 0.0


@dataclass(frozen=True)
class Filled:
    """Shares of each cell [z, y, x]: `lumen` (branches included), `root` (all within the root's surface), `filling`; `outside`: distance
    from the root's surface, mm. Cell (i, j, k) is centred at `start + steps @ (i, j, k)`.
    """

    lumen: Shares = field(repr=False)
    root: Shares = field(repr=False)
    filling: Shares = field(repr=False)
    outside: Shares = field(repr=False)
    start: Array
    steps: Array

    @property
    def cell(self) -> float:
        """Side of a cell, mm."""
        return float(np.linalg.norm(self.steps[:, 0]))


def filled(phantom: Phantom, filling: Filling, start: Array, steps: Array, size: NDArray[np.int_]) -> Filled:
    """The phantom with its first canal filled, on the grid of `fill`."""
    lumen, root, outside = fill(phantom.root, phantom.canals, start, steps, size)
    cell = float(np.linalg.norm(steps[:, 0]))
    canal = phantom.truth[0]
    candidates = _candidates(lumen, filling, canal, start, steps)
    points = _points(candidates, lumen.shape, start, steps)
    z, _ = station_of(points, canal)
    hollow, within = lumen.ravel()[candidates], root.ravel()[candidates]
    share = hollow * _step((z - filling.end) / cell) * _step((filling.top - z) / cell)
    for branch in filling.branches:
        bore, along = _bore(points, canal, branch, cell)
        bore = bore * within
        share = np.maximum(share, bore * _step((branch.filled - along) / cell))
        hollow = np.maximum(hollow, bore)
    for bubble in filling.bubbles:
        share = share * (1 - _ball(points, place(canal, bubble.z, bubble.aside, bubble.off), bubble.size, cell))
    if filling.puff > 0:
        down = canal.centre[0] - canal.centre[3]
        middle = canal.centre[0] + down / np.linalg.norm(down) * filling.puff * 0.4
        share = np.maximum(share, _ball(points, middle, filling.puff, cell) * (1 - within))
    made_lumen, made = lumen.copy(), np.zeros_like(lumen)
    made_lumen.ravel()[candidates] = hollow
    made.ravel()[candidates] = share
    return Filled(made_lumen, root, made, outside, start, steps)


def station_of(points: Array, canal: TrueCanal) -> tuple[Array, Array]:
    """Station z of the nearest place on the line, straight beyond its ends, and the distance to it; points (n, 3), each (n,)."""
    centre = canal.centre
    step = float(canal.z[1] - canal.z[0])
    tangent = np.gradient(centre, canal.z, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1)[:, None]
    at = cKDTree(centre).query(points)[1]
    along = np.einsum("ij,ij->i", points - centre[at], tangent[at])
    inner = np.clip(along, -step, step)
    ends = ((at == 0) & (along < 0)) | ((at == len(centre) - 1) & (along > 0))
    z = canal.z[at] + np.where(ends, along, inner)
    across = points - centre[at] - along[:, None] * tangent[at]
    return z, np.asarray(np.linalg.norm(across, axis=1))


def place(canal: TrueCanal, z: float, aside: float = 0.0, off: float = 0.0) -> Array:
    """A point at station `z`, `aside` along the greatest width and `off` square to it, shape (3,)."""
    i = int(np.argmin(np.abs(canal.z - z)))
    tangent = np.gradient(canal.centre, canal.z, axis=0)[i]
    tangent /= np.linalg.norm(tangent)
    middle = np.array([np.interp(z, canal.z, c) for c in canal.centre.T])
    return np.asarray(middle + aside * canal.axis[i] + off * np.cross(tangent, canal.axis[i]))


def branch_line(canal: TrueCanal, branch: Branch) -> tuple[Array, Array, float]:
    """Where a branch leaves the line, its unit direction, and the distance from the line to the lumen's wall that way."""
    i = int(np.argmin(np.abs(canal.z - branch.z)))
    tangent = np.gradient(canal.centre, canal.z, axis=0)[i]
    tangent /= np.linalg.norm(tangent)
    other = np.cross(tangent, canal.axis[i])
    a = np.radians(branch.towards)
    way = np.cos(a) * canal.axis[i] + np.sin(a) * other
    long, short = canal.major[i] / 2, canal.minor[i] / 2
    wall = 1 / np.sqrt((np.cos(a) / long) ** 2 + (np.sin(a) / short) ** 2)
    return place(canal, branch.z), way, float(wall)


def _bore(points: Array, canal: TrueCanal, branch: Branch, cell: float) -> tuple[Array, Array]:
    """Share of the branch's bore at points, and the way along it from the lumen's wall."""
    start, way, wall = branch_line(canal, branch)
    along = (points - start) @ way
    across = np.linalg.norm(points - start - along[:, None] * way, axis=1)
    bore = _step((branch.diameter / 2 - across) / cell) * (along > 0)
    return bore, along - wall


def _ball(points: Array, middle: Array, size: float, cell: float) -> Array:
    return _step((size / 2 - np.linalg.norm(points - middle, axis=1)) / cell)


def _step(inside: Array) -> Array:
    """Share of a cell within a surface that lies `inside` cells from its centre."""
    return np.clip(0.5 + inside, 0.0, 1.0)


def _points(flat: NDArray[np.int_], shape: Sequence[int], start: Array, steps: Array) -> Array:
    k, j, i = np.unravel_index(flat, tuple(shape))
    return np.asarray(start + np.column_stack([i, j, k]) @ steps.T)


def _candidates(lumen: Shares, filling: Filling, canal: TrueCanal, start: Array, steps: Array) -> NDArray[np.int_]:
    """Flat indices of cells that the filling may reach: the lumen near its line, and boxes about branches and the puff."""
    at = np.flatnonzero(lumen.ravel() > 0)
    wide = float(canal.major.max()) / 2 + 0.6
    near = cKDTree(canal.centre).query(_points(at, lumen.shape, start, steps), distance_upper_bound=wide)[0] < np.inf
    found = [at[near]]
    spans = [(canal.centre[0], canal.centre[0], 1.4 * filling.puff)] if filling.puff > 0 else []
    for branch in filling.branches:
        begin, way, _ = branch_line(canal, branch)
        spans.append((begin, begin + 6.0 * way, branch.diameter))
    for one, other, reach in spans:
        ends = (np.linalg.inv(steps) @ (np.stack([one, other]) - start).T).T
        room = reach / float(np.linalg.norm(steps[:, 0])) + 1
        most = np.array(lumen.shape[::-1])
        low = np.clip(np.floor(ends.min(0) - room), 0, most).astype(int)
        high = np.clip(np.ceil(ends.max(0) + room) + 1, 0, most).astype(int)
        k, j, i = np.meshgrid(*(np.arange(a, b) for a, b in zip(low[::-1], high[::-1], strict=True)), indexing="ij")
        found.append(np.ravel_multi_index((k.ravel(), j.ravel(), i.ravel()), lumen.shape))
    return np.unique(np.concatenate(found))
