"""The bright body at a click: its hard tissue in a cube of nodes about it, its directions, the greys of dentine and what is soft.

On cubes of `STEP` mm about the click: hard tissue is what is brighter than dentine less `DARK` of the contrast; an opening
cuts bridges to bone and to neighbours; the piece at the click is the body. It is then looked at once more about its own
middle, on a lattice, so that the same is found wherever in it was clicked.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import (
    binary_dilation,
    binary_erosion,
    binary_opening,
    distance_transform_edt,
    gaussian_filter,
    label,
)

from canalwright.imaging.errors import ScanError
from canalwright.imaging.readers.opened import Opened
from canalwright.imaging.refusal import refusal
from canalwright.imaging.tracing.block import Block, take
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
STEP = 0.25
REACH = 15.0
DARK = 0.3
BRIDGE = 0.4
TIPS = 3.0
SIZES = (7.0, 34.0)
"""Plausible length of a tooth, mm."""
SETTLED, LOOKS = 1.0, 3
"""Edge of the lattice that the middle of a tooth is moved to, mm, and how often it is looked at from there until it stays: bodies
found from different clicks differ a little, their middles on the lattice hardly ever."""


@dataclass(frozen=True)
class Body:
    """The bright body at a click: `mask` on the cube of nodes `grid`, its directions and length; `out`: it leaves the cube."""

    block: Block
    grid: Array
    mask: Mask
    axes: Array
    length: float
    tones: tuple[float, float, float]
    out: bool
    notes: tuple[str, ...]


def settled(scan: Scan | Opened, body: Body) -> Body:
    """The body looked at about its own middle, which does not depend on where in it was clicked."""
    last: Array | None = None
    for _ in range(LOOKS):
        middle = SETTLED * np.round(body.grid[body.mask].mean(axis=0) / SETTLED)
        if not scan.holds(middle) or (last is not None and np.array_equal(middle, last)):
            break
        try:
            again = body_at(scan, middle, middle, known=body)
        except ScanError:
            break
        if not SIZES[0] <= again.length <= SIZES[1] or (again.out and not body.out):
            break
        body, last = again, middle
    return body


def body_at(scan: Scan | Opened, click: Array, middle: Array, *, known: Body | None = None) -> Body:
    """The bright body at `click` in the cube about `middle`; where one is `known`, that one, looked at from there."""
    where = scan.path or "scan in memory"
    near = scan.around(np.stack([click, middle]), REACH) if isinstance(scan, Opened) else scan
    block = take(near, middle[None], REACH)
    grid = _cube(block, middle)
    grey = gaussian_filter(block.sample(grid, smooth=False), 0.5, mode="nearest")
    inside = block.inside(grid)
    half = (len(grey) - 1) // 2
    centre = np.clip(np.round((click - middle)[::-1] / STEP).astype(int) + half, 0, len(grey) - 1)
    away = np.linalg.norm((np.indices(grey.shape, np.float32).transpose(1, 2, 3, 0) - centre) * STEP, axis=-1)
    soft = float(np.quantile(grey[(away < 6.0) & inside], 0.05))
    there = _moved(known, middle, grey.shape) if known is not None else None
    like = float(np.median(grey[away < 0.5])) if known is None else known.tones[0]
    dentine = _dentine(grey[((away < 3.0) if there is None else there) & inside], like, soft)
    contrast = dentine - soft
    noise = _noise(grey[((away < 2.0) if there is None else there) & inside])
    if contrast < 4 * noise:
        raise refusal(where, "no bright tooth about the point", remedy="click in a tooth's dentine, not in enamel")
    hard = (grey > dentine - DARK * contrast) & inside
    ball = np.linalg.norm(np.indices((5, 5, 5)).transpose(1, 2, 3, 0) - 2, axis=-1) * STEP <= BRIDGE
    names, _ = label(binary_opening(hard, ball))
    name = _name_near(names, centre, where) if there is None else _name_of(names, there, where)
    tooth = binary_dilation(names == name, ball) & hard
    noise = noise if there is None else _noise(grey[tooth])
    axes, length = _axes(tooth, grey, contrast)
    tooth = _with_tips(tooth, hard, axes[2])
    faces = sum(int(tooth.take(end, axis).sum()) for axis in range(3) for end in (0, -1))
    edge = tooth & ~binary_erosion(inside)
    out = faces > 25
    notes: tuple[str, ...] = ()
    if out or edge.sum() > 0.03 * tooth.sum():
        notes = ("the tooth reaches the edge of what was looked at: it may hang together with its neighbours",)
    return Body(block, grid, tooth, axes, length, (dentine, contrast, noise), out, notes)


def _cube(block: Block, middle: Array) -> Array:
    """Points [z, y, x, 3] of a cube of nodes about an LPS point, along LPS axes."""
    half = round(REACH / STEP)
    line = STEP * np.arange(-half, half + 1)
    z, y, x = np.meshgrid(line, line, line, indexing="ij")
    return np.asarray(np.stack([x, y, z], axis=-1) + middle)


def _dentine(greys: Array, clicked: float, soft: float) -> float:
    """The peak of the greys' distribution that the clicked grey belongs to, or for a click in the pulp the fullest bright one."""
    top = float(np.quantile(greys, 0.995))
    counts, edges = np.histogram(greys, bins=80, range=(soft, top))
    counts = gaussian_filter(counts.astype(float), 1.5)
    middles = (edges[1:] + edges[:-1]) / 2
    peaks = [i for i in range(1, 79) if counts[i] >= counts[i - 1] and counts[i] > counts[i + 1]]
    peaks = [i for i in peaks if counts[i] > 0.08 * counts.max()] or [int(np.argmax(counts))]
    bright = [i for i in peaks if middles[i] > soft + 0.35 * (top - soft)] or peaks
    if clicked > soft + 0.35 * (top - soft):
        return float(middles[min(bright, key=lambda i: abs(middles[i] - clicked))])
    return float(middles[max(bright, key=lambda i: counts[i])])


def _name_near(names: NDArray[np.int_], centre: NDArray[np.int_], where: str) -> int:
    """The piece at the centre, or the one nearest to it within 2.5 mm (a click in the pulp)."""
    k = round(2.5 / STEP)
    part = names[tuple(slice(c - k, c + k + 1) for c in centre)]
    if not part.any():
        raise refusal(
            where, "no hard tissue within 2.5 mm of the point", remedy="click in a tooth's dentine, not in enamel"
        )
    index = distance_transform_edt(part == 0, return_distances=False, return_indices=True)
    at = index[:, k, k, k]
    return int(part[tuple(at)])


def _noise(greys: Array) -> float:
    """Standard deviation of one node, from the differences of neighbours in a row."""
    return float(1.4826 * np.median(np.abs(np.diff(greys))) / np.sqrt(2))


def _moved(body: Body, middle: Array, shape: tuple[int, ...]) -> Mask:
    """A body's mask on the cube about another middle."""
    nodes = np.round((body.grid[body.mask] - middle)[:, ::-1] / STEP).astype(int) + (shape[0] - 1) // 2
    out = np.zeros(shape, bool)
    out[tuple(nodes[np.all((nodes >= 0) & (nodes < shape), axis=1)].T)] = True
    return out


def _name_of(names: NDArray[np.int_], there: Mask, where: str) -> int:
    """The piece that most of a body lies in."""
    counts = np.bincount(names[there])
    if not counts[1:].any():
        raise refusal(where, "no hard tissue about the point", remedy="click in a tooth's dentine, not in enamel")
    return 1 + int(np.argmax(counts[1:]))


def _axes(tooth: Mask, grey: Array, contrast: float) -> tuple[Array, float]:
    """Rows x, y, z of the tooth's own directions (z to the crown) and its length along z, mm."""
    points = np.argwhere(tooth)[:, ::-1] * STEP
    centre = points.mean(0)
    _, way = np.linalg.eigh(np.cov((points - centre).T))
    axis = way[:, -1]
    along = (points - centre) @ axis
    low, high = np.quantile(along, [0.02, 0.98])
    values = grey[tooth]
    ends = [along > high - 0.3 * (high - low), along < low + 0.3 * (high - low)]
    bright = [float(np.quantile(values[e], 0.9)) for e in ends]
    size = [float(e.sum()) for e in ends]
    up = bright[0] > bright[1] if abs(bright[0] - bright[1]) > 0.15 * contrast else size[0] > size[1]
    axis = axis if up else -axis
    one = np.eye(3)[int(np.argmin(np.abs(axis)))]
    one = one - (one @ axis) * axis
    one /= np.linalg.norm(one)
    return np.array([one, np.cross(axis, one), axis]), float(along.max() - along.min())


def _with_tips(tooth: Mask, hard: Mask, axis: Array) -> Mask:
    """The tooth with its thin root tips, which the opening took: grown `TIPS` mm through hard tissue in its root half."""
    z, y, x = np.indices(tooth.shape)
    height = x * axis[0] + y * axis[1] + z * axis[2]
    root = height < np.quantile(height[tooth], 0.5)
    return np.asarray(binary_dilation(tooth, iterations=round(TIPS / STEP), mask=hard & root) | tooth)
