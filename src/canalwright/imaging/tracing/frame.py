"""Voxels and rays in the canal's own coordinates: station s along a line, (u, v) across it."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree

from canalwright.imaging.centreline import Centreline
from canalwright.imaging.tracing.block import Block

Array = NDArray[np.float64]
SLAB = 1_000_000
"""Voxels of a block that are placed at a time: a micro-CT has tens of millions."""


@dataclass(frozen=True)
class Frame:
    """A centreline with its frames, ready to place points; beyond its ends it goes straight on."""

    line: Centreline
    _kept: dict[int, tuple[float, Array, Array, Array, Array, NDArray[np.int_]]] = field(
        default_factory=dict, repr=False, compare=False
    )
    """Voxels of a block that were placed already, by the block's identity: how far they reach, and where they lie."""

    @cached_property
    def _tree(self) -> cKDTree:
        return cKDTree(self.line.points)

    @property
    def step(self) -> float:
        """Distance between stations, mm."""
        return float(self.line.s[1])

    def place(self, points: Array, reach: float = np.inf) -> tuple[Array, Array, Array]:
        """Station s and cross-plane place (u, v) of LPS points (..., 3); NaN farther than `reach` from the line."""
        flat = np.asarray(points, float).reshape(-1, 3)
        distance, at = self._tree.query(flat, distance_upper_bound=reach)
        good = np.isfinite(distance)
        found = self._across(flat, np.where(good, at, 0))
        shape = np.shape(points)[:-1]
        s, u, v = (np.where(good, x, np.nan).reshape(shape) for x in found)
        return s, u, v

    def _across(self, flat: Array, i: NDArray[np.int_]) -> tuple[Array, Array, Array]:
        """s, u and v of points (n, 3) whose nearest points of the line are `i`."""
        away = flat - self.line.points[i]
        s = self.line.s[i] + np.einsum("ij,ij->i", away, self.line.tangent[i])
        u = np.einsum("ij,ij->i", away, self.line.normal[i])
        v = np.einsum("ij,ij->i", away, self.line.binormal[i])
        return s, u, v

    def at(self, s: Array) -> tuple[Array, Array, Array, Array]:
        """Points, tangents, normals and binormals at stations `s` (k,), each (k, 3)."""
        i = np.clip(np.floor(np.asarray(s) / self.step).astype(int), 0, len(self.line.s) - 2)
        f = (np.asarray(s) / self.step - i)[:, None]
        g = np.clip(f, 0.0, 1.0)
        points = self.line.points[i] * (1 - f) + self.line.points[i + 1] * f
        units = []
        for table in (self.line.tangent, self.line.normal, self.line.binormal):
            one = table[i] * (1 - g) + table[i + 1] * g
            units.append(one / np.linalg.norm(one, axis=1)[:, None])
        return points, units[0], units[1], units[2]

    def voxels(self, block: Block, reach: float) -> tuple[Array, Array, Array, Array, NDArray[np.int_]]:
        """Voxels of a block within `reach` mm of the line: s, u, v and grey, each (n,), and their index [z, y, x] (n, 3)."""
        kept = self._kept.get(id(block))
        if kept is None or kept[0] < reach:
            kept = self._kept[id(block)] = (reach, *self._placed(block, reach))
        near = kept[1] <= reach
        s, u, v, index = kept[2][near], kept[3][near], kept[4][near], kept[5][near]
        return s, u, v, block.grey[tuple(index.T)].astype(float), index

    def _placed(self, block: Block, reach: float) -> tuple[Array, Array, Array, Array, NDArray[np.int_]]:
        """Voxels within `reach` of the line's points: how far from them, s, u, v, and their index [z, y, x]."""
        mask = np.zeros(block.grey.shape, bool)
        half = np.ceil((reach + 0.2) / block.spacing).astype(int)
        for x, y, z in np.round(block.to_index(self.line.points[::2])).astype(int):
            mask[
                max(z - half[2], 0) : max(z + half[2] + 1, 0),
                max(y - half[1], 0) : max(y + half[1] + 1, 0),
                max(x - half[0], 0) : max(x + half[0] + 1, 0),
            ] = True
        layers = max(1, SLAB // int(np.prod(mask.shape[1:])))
        parts: list[tuple[Array, Array, Array, Array, NDArray[np.int_]]] = []
        for first in range(0, len(mask), layers):
            k, j, i = np.nonzero(mask[first : first + layers])
            if len(k) or not parts:
                parts.append(self._near(block, np.column_stack([k + first, j, i]), reach))
        distance, s, u, v, index = (np.concatenate(column) for column in zip(*parts, strict=True))
        return distance, s, u, v, index

    def _near(
        self, block: Block, index: NDArray[np.int_], reach: float
    ) -> tuple[Array, Array, Array, Array, NDArray[np.int_]]:
        """The same of the voxels `index` (n, 3) [z, y, x]."""
        points = block.to_patient(index[:, ::-1].astype(float))
        distance, at = self._tree.query(points, distance_upper_bound=reach)
        good = np.isfinite(distance)
        s, u, v = self._across(points[good], at[good])
        on = (s >= 0) & (s <= self.line.s[-1])
        return distance[good][on], s[on], u[on], v[on], index[good][on].astype(np.int32)

    def rays(self, block: Block, s: Array, centre: tuple[Array, Array], r: Array, directions: int) -> Array:
        """Greys (len(s), directions, len(r)) along rays in the cross planes at `s`, from `centre` (u, v)."""
        points, _, one, two = self.at(s)
        start = points + centre[0][:, None] * one + centre[1][:, None] * two
        turn = np.linspace(0, 2 * np.pi, directions, endpoint=False)
        ways = np.cos(turn)[:, None] * one[:, None] + np.sin(turn)[:, None] * two[:, None]
        return block.sample(start[:, None, None] + r[:, None] * ways[:, :, None])


def on_map(table: Array, stations: Array, s: Array, turn: Array) -> Array:
    """A map (S, K) over even stations and directions, at `s` and angle `turn` (n,), linear, periodic in angle."""
    row = np.clip((s - stations[0]) / (stations[1] - stations[0]), 0, len(stations) - 1)
    column = (turn % (2 * np.pi)) / (2 * np.pi) * table.shape[1]
    wrapped = np.column_stack([table, table[:, :1]])
    return np.asarray(map_coordinates(wrapped, np.vstack([row, column]), order=1, mode="nearest"))
