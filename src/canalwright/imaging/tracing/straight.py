"""The root straightened along a canal: greys by station and place across, what is dark in dentine beside the lumen.

The volume is sampled a few stations at a time at its full resolution (`take` of a thin part), so that a micro-CT of
1000 x 1000 x 2000 voxels never lies in memory whole; the grid's step grows until the straightened root has at most
`MOST` nodes. Where the root reaches out of the volume nothing is known: there it is neither dark nor root, and `unseen` says
how much of it that is.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, median_filter
from scipy.spatial import cKDTree

from canalwright.imaging.centreline import Centreline, minimal_rotation
from canalwright.imaging.found import FoundCanal
from canalwright.imaging.tracing.block import Block, take
from canalwright.imaging.tracing.path import Tones
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
MOST = 24_000_000
PIT = 1.5
"""Length along the canal over which the usual distance of the root's surface is taken, mm."""
SLAB = 0.8
"""Length sampled at a time, mm."""


@dataclass(frozen=True)
class Straight:
    """Arrays [station, v, u]: `dark` 0 (dentine) to 1 (lumen), `inside` the root, `beyond` the main lumen's edge (mm).

    Node (k, j, i) lies at station `low + k * step` of `line` and at (u, v) = ((i, j) - `half`) * step across it.
    `skin`: distance to the root's surface in the plane, mm, positive inside.
    """

    line: Centreline
    low: float
    step: float
    half: int
    dark: NDArray[np.float32]
    skin: NDArray[np.float32]
    beyond: NDArray[np.float32]
    unseen: float = 0.0
    """Share of the root that lies outside the volume."""

    def place(self, nodes: NDArray[Any]) -> Array:
        """LPS points (m, 3) of nodes (m, 3) given as [station, v, u]."""
        nodes = np.array(nodes, dtype=np.float64)
        point, one, two = _rows(self.line, self.low + nodes[:, 0] * self.step)
        across = (nodes[:, 1:] - self.half) * self.step
        return np.asarray(point + across[:, 1:] * one + across[:, :1] * two)


def straighten(
    scan: Scan, canal: FoundCanal, tones: Tones, others: Sequence[FoundCanal] = (), *, block: Block | None = None
) -> Straight:
    """The root about `canal`, its lumen and those of the `others` marked. Needs the canal's `surface`.

    `block`: the part of the scan about the root where it is in memory already; else the scan is read slab by slab.
    """
    assert canal.surface is not None
    line = _line(canal)
    reach = float(np.max(canal.surface.distance)) + 0.2
    low, high = 0.0, float(canal.lumen.z[-1]) - 0.5
    step = max(float(np.prod(scan.spacing) ** (1 / 3)), (4 * reach**2 * (high - low) / MOST) ** (1 / 3))
    half = int(np.ceil(reach / step))
    stations = np.arange(low, high, step)
    shape = (len(stations), 2 * half + 1, 2 * half + 1)
    dark, skin, beyond = (np.empty(shape, np.float32) for _ in range(3))
    across = (np.arange(2 * half + 1) - half) * step
    u, v = np.meshgrid(across, across)
    made = Straight(line, low, step, half, dark, skin, beyond)
    rows = max(4, round(SLAB / step))
    skin_of = _unpitted(canal)
    lost = 0
    for first in range(0, len(stations), rows):
        s = stations[first : first + rows]
        lost += _slab(scan, canal, others, tones, made, s, slice(first, first + len(s)), (u, v), skin_of, block)
    smooth = max(0.0, 0.5 * float(scan.spacing.max()) / step) if step < 1.5 * float(scan.spacing.max()) else 0.0
    if smooth:
        gaussian_filter(dark, smooth, output=dark, truncate=2.5)
    inside = int((skin > 0).sum())
    return replace(made, unseen=lost / max(inside + lost, 1))


def _slab(
    scan: Scan, canal: FoundCanal, others: Sequence[FoundCanal], tones: Tones, made: Straight, s: Array, where: slice,
    across: tuple[Array, Array], skin_of: Array, block: Block | None,
) -> int:  # fmt: skip
    """Fill some stations; how many nodes of the root lie outside the volume."""
    assert canal.surface is not None
    u, v = across
    centre, one, two = _rows(made.line, s)
    points = centre[:, None, None] + u[..., None] * one[:, None, None] + v[..., None] * two[:, None, None]
    index = scan.to_index(points)
    held = np.all((index >= -0.5) & (index <= np.array(scan.shape[::-1]) - 0.5), axis=-1)
    if block is None and held.any():
        block = take(scan, _outermost(points[held]), 0.2)
    grey = tones.dentine if block is None else block.sample(points, smooth=False)
    made.dark[where] = np.where(held, (tones.dentine - grey) / tones.contrast, 0.0)
    rho = np.hypot(u, v)
    skin, lumen = np.empty(points.shape[:-1]), np.empty(points.shape[:-1])
    for k, station in enumerate(s):
        i = int(np.argmin(np.abs(canal.lumen.z - station)))
        ways = u[..., None] * one[k] + v[..., None] * two[k]
        turn = np.arctan2(ways @ canal.surface.two[i], ways @ canal.surface.one[i]) % (2 * np.pi)
        edge = np.interp(turn, canal.surface.turn, skin_of[i], period=2 * np.pi)
        skin[k] = edge - rho
        flat = ways.reshape(-1, 3)
        lumen[k] = rho - canal.half(i, flat).reshape(rho.shape)
    lost = int((~held & (skin > 0)).sum())
    made.skin[where], made.beyond[where] = np.where(held, skin, -1.0), lumen
    for other in others:
        flat = points.reshape(-1, 3)
        away, at = cKDTree(other.lumen.centre).query(flat, distance_upper_bound=float(other.lumen.major.max()) + 0.5)
        near = np.nonzero(np.isfinite(away))[0]
        gap = np.full(len(flat), np.inf)
        gap[near] = away[near] - other.lumen.major[at[near]] / 2
        made.beyond[where] = np.minimum(made.beyond[where], gap.reshape(skin.shape))
    return lost


def _outermost(points: Array) -> Array:
    """Those of the points (m, 3) that span their box, (6, 3)."""
    return np.asarray(points[np.concatenate([points.argmin(0), points.argmax(0)])])


def _unpitted(canal: FoundCanal) -> Array:
    """Distance of the root's surface (n, K) without the pits that rays along a side branch leave in it.

    Along the root only: across it, a flat or hollow side would be taken for a pit.
    """
    assert canal.surface is not None
    distance = canal.surface.distance
    rows = max(3, 2 * round(0.5 * PIT / float(np.mean(np.diff(canal.lumen.z)))) + 1)
    return np.asarray(np.maximum(distance, median_filter(distance, size=(rows, 1), mode="nearest")))


def _rows(line: Centreline, s: Array) -> tuple[Array, Array, Array]:
    """Points and the two directions across at stations, each (k, 3)."""
    point, one, two = (
        np.column_stack([np.interp(s, line.s, c) for c in table.T])
        for table in (line.points, line.normal, line.binormal)
    )
    return point, one, two


def _line(canal: FoundCanal) -> Centreline:
    """The canal's own centreline with a frame that turns as little as can be."""
    points = canal.lumen.centre
    tangent = np.gradient(points, canal.lumen.z, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1)[:, None]
    normal = minimal_rotation(points, tangent)
    zero = np.zeros(len(points))
    return Centreline(
        canal.lumen.z, points, tangent, normal, np.cross(tangent, normal), zero, zero, float(canal.lumen.z[-1])
    )
