"""The way through the lumen: from two points to a first centreline, by fast marching.

On a grid of cubes whose third axis is the line from terminus to orifice. In each slice of it all that is darker
than dentine and joined to the slice's border lies outside the root: ligament, marrow, air. What is faint counts by as much as it
is darker than both its sides (`between`): the root's blurred edge is no canal. Speed falls from 1 in the lumen to `FLOOR` in
dentine, so the earliest arrival keeps to the canal even where partial volume leaves a tenth of its contrast; outside it is
`OUTSIDE` times that (fast marching: Sethian 1996, PNAS 93:1591). The grid ends `BEYOND` mm past both points: a canal does not turn
back over its orifice, and the way round the tooth is shut.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import SimpleITK
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, label, map_coordinates

from canalwright.imaging.centreline import Centreline, smooth
from canalwright.imaging.refusal import refusal
from canalwright.imaging.tracing.apart import Apart
from canalwright.imaging.tracing.barrier import Barrier
from canalwright.imaging.tracing.between import BESIDE, RING, stands_out
from canalwright.imaging.tracing.block import Block

Array = NDArray[np.float64]
sitk: Any = SimpleITK
FLOOR = 0.02
OUTSIDE = 0.03
DARK = 0.3
"""Share of the contrast below dentine from which a node counts as not dentine."""
BEYOND = 1.5
RADIUS = 5.0
LIFTED, SOFT_ERROR = 0.25, 0.25
"""Share of the contrast by which blur lifts the darkest places of a scan, and the standard deviation of soft tissue's
grey about what is left (chosen on phantoms of seeds 1000 to 1099)."""
FAR = np.float32(3e38)
ABOVE = 0.7
"""How far the line is carried on above the orifice, so that the fit has voxels on both sides of it, mm."""
BENT = 2.5


@dataclass(frozen=True)
class Tones:
    """Greys of dentine and lumen about the canal, and the noise (standard deviation of one voxel).

    `lumen` is the darkest that was seen; blur lifts it where the canal is narrow. `soft`: what soft tissue is thought
    to be, from the darkest places about the root, within `SOFT_ERROR` of the contrast.
    """

    dentine: float
    lumen: float
    noise: float
    soft: float

    @property
    def contrast(self) -> float:
        """Dentine less lumen."""
        return self.dentine - self.lumen

    @property
    def soft_error(self) -> float:
        """Standard deviation of `soft`."""
        return SOFT_ERROR * (self.dentine - self.soft)


def find_path(
    block: Block, orifice: Array, terminus: Array, *, via: Sequence[Array] = (), barriers: Sequence[Barrier] = (),
    apart: Apart | None = None,
) -> tuple[Array, Tones]:  # fmt: skip
    """Points (m, 3) LPS from terminus to orifice through the darkest way, and the greys found.

    The way runs through the points `via` in their order from the orifice down, and through no barrier; what is another
    canal's (`apart`) is no lumen to it. Raises ScanError when there is no dentine about the points or no dark way between them.
    """
    tones = tones_of(block, orifice, terminus)
    grid = _grid(block, orifice, terminus)
    nodes = grid.points()
    grey = gaussian_filter(block.sample(nodes), 0.6, mode="nearest")
    dark = np.clip((tones.dentine - grey) / tones.contrast, 0.0, 1.0)
    outside = _outside(dark)
    speed = np.maximum(_lumen(dark, outside, grid.step), FLOOR) * np.where(outside, OUTSIDE, 1.0)
    if apart is not None:
        speed = np.where(apart.shuts(nodes), FLOOR * OUTSIDE, speed)
    shut = np.zeros(speed.shape, bool)
    for barrier in barriers:
        shut |= barrier.shuts(nodes, grid.step)
    speed[shut] = 0.0
    for point in via:
        if not grid.holds(point):
            raise refusal(block.name, f"a point of the way lies more than {RADIUS:g} mm aside", remedy="move it back")
    image = sitk.GetImageFromArray(speed.astype(np.float32))
    image.SetSpacing([grid.step] * 3)
    ends = [_darkest(grey, grid.index(point)) for point in (orifice, terminus)]
    stops = [ends[0], *(grid.index(point) for point in via), ends[1]]
    if any(shut[z, y, x] for x, y, z in stops):
        raise refusal(block.name, "a barrier covers a point that the canal runs through", remedy="move or shrink it")
    legs: list[NDArray[np.int_]] = []
    for start, stop in pairwise(stops):
        if start == stop:
            continue
        leg = _descend(np.where(shut, FAR, _arrival(image, start, stop)), stop, start)
        if tuple(leg[-1]) != start:
            raise refusal(
                block.name, "no way through the lumen between the points", remedy="pick them again in the canal"
            )
        legs.insert(0, leg if not legs else leg[:-1])
    way = np.vstack(legs) if legs else np.zeros((0, 3))
    if len(way) < 4:
        raise refusal(block.name, "no way through the lumen between the points", remedy="pick them again in the canal")
    return grid.origin + grid.step * way @ grid.axes, tones


def _arrival(image: Any, start: tuple[int, int, int], stop: tuple[int, int, int]) -> NDArray[np.float32]:
    """When the front from `start` reaches each node, up to the one at `stop`; `FAR` where it has not come by then."""
    front = sitk.FastMarchingUpwindGradient(image, [start], 1, [stop], 1.0, 1.0)
    return np.asarray(np.minimum(sitk.GetArrayFromImage(front), FAR), dtype=np.float32)


def first_line(points: Array, orifice: Array, terminus: Array, voxel: float, beyond: float) -> tuple[Centreline, float]:
    """Smooth centreline from `beyond` mm past the terminus to the orifice, and the terminus' place on it, mm."""
    inner = points[2:-2] if len(points) > 12 else points
    ends = np.vstack([terminus, inner, orifice])
    rough = smooth(ends, wavelength=max(3.0, 12 * voxel))
    tail = rough.points[0] - np.arange(beyond, 0.0, -0.1)[:, None] * rough.tangent[0]
    head = rough.points[-1] + np.arange(0.1, ABOVE, 0.1)[:, None] * rough.tangent[-1]
    line = smooth(np.vstack([tail, rough.points, head]), wavelength=1.0)
    at = float(line.s[int(np.argmin(np.linalg.norm(line.points - terminus, axis=1)))])
    return line, at


def second_line(centres: Array, beyond: float) -> Centreline:
    """Smooth centreline through fitted centres (m, 3), 0.1 mm apart, carried on apically by `beyond` mm.

    Carried on as the parabola of the last `BENT` mm, so that a curve goes on curving; straight on above.
    """
    line = smooth(centres, wavelength=1.0)
    near = line.s <= min(BENT, line.s[-1])
    t = np.arange(-beyond, -0.05, 0.1)
    tail = np.column_stack([np.polyval(np.polyfit(line.s[near], c[near], 2), t) for c in line.points.T])
    return smooth(np.vstack([tail, line.points]), wavelength=1.0)


@dataclass(frozen=True)
class _Grid:
    """Cubes of side `step` from `origin`; rows of `axes` are the directions of index x, y, z; `size` (x, y, z)."""

    origin: Array
    axes: Array
    step: float
    size: tuple[int, int, int]

    def points(self) -> Array:
        """Places of all nodes [z, y, x], shape (nz, ny, nx, 3)."""
        x, y, z = (self.step * np.arange(n)[:, None] * a for n, a in zip(self.size, self.axes, strict=True))
        return np.asarray(self.origin + x[None, None] + y[None, :, None] + z[:, None, None])

    def index(self, point: Array) -> tuple[int, int, int]:
        """Nearest node (x, y, z)."""
        at = np.round(self.axes @ (point - self.origin) / self.step).astype(int)
        x, y, z = np.clip(at, 0, np.array(self.size) - 1)
        return int(x), int(y), int(z)

    def holds(self, point: Array) -> bool:
        """Whether an LPS point lies in the grid."""
        at = np.round(self.axes @ (point - self.origin) / self.step)
        return bool(np.all((at >= 0) & (at < self.size)))


def _grid(block: Block, orifice: Array, terminus: Array) -> _Grid:
    way = orifice - terminus
    tall = float(np.linalg.norm(way))
    way = way / tall
    one = np.eye(3)[int(np.argmin(np.abs(way)))]
    one = one - (one @ way) * way
    one /= np.linalg.norm(one)
    axes = np.array([one, np.cross(way, one), way])
    step = float(np.clip(block.voxel, 0.1, 0.3))
    across = 2 * round(RADIUS / step) + 1
    size = (across, across, round((tall + 2 * BEYOND) / step) + 1)
    origin = terminus - BEYOND * way - step * (across // 2) * (axes[0] + axes[1])
    return _Grid(origin, axes, step, size)


def _outside(dark: Array) -> NDArray[np.bool_]:
    """Nodes that are joined, within their slice, to its border through what is darker than dentine."""
    flags = dark > DARK
    out = np.zeros_like(flags)
    for k in range(len(flags)):
        names, _ = label(flags[k])
        edge = np.unique(np.concatenate([names[0], names[-1], names[:, 0], names[:, -1]]))
        out[k] = np.isin(names, edge[edge > 0])
    return out


def _lumen(dark: Array, outside: NDArray[np.bool_], step: float) -> Array:
    """Darkness that is a lumen's: what is faint counts by as much as it is darker than both its sides, the root's edge for nothing."""
    faint = (dark > FLOOR) & (dark <= DARK) & ~outside
    where = np.argwhere(faint).T
    sides = BESIDE / step * RING
    beside = np.stack(
        [map_coordinates(dark, where + [[0.0], [y], [x]], order=1, mode="nearest") for x, y in sides], axis=-1
    )
    out = dark.copy()
    out[faint] = stands_out(dark[faint], beside)
    return out


def tones_of(block: Block, orifice: Array, terminus: Array) -> Tones:
    """Dentine: the upper fifth about the line of the points. Lumen: the darkest tenth near the orifice."""
    t = np.linspace(0.05, 0.95, 60)[:, None]
    line = terminus + t * (orifice - terminus)
    rng = np.random.default_rng(0)
    cloud = (line[:, None] + rng.uniform(-2.0, 2.0, (60, 200, 3))).reshape(-1, 3)
    values = block.sample(cloud[block.inside(cloud)])
    dentine = float(np.quantile(values, 0.8))
    away = rng.uniform(-0.5, 0.5, (400, 3))
    near = np.concatenate([block.sample(orifice + away), block.sample(orifice + t[-20:] * 0 + (line[-20:] - orifice))])
    lumen = float(np.quantile(near, 0.1))
    noise = _noise(block, cloud, dentine)
    soft = _soft(block, line, dentine, lumen)
    if dentine - lumen < 3 * noise:
        raise refusal(
            block.name,
            f"no dark lumen in brighter dentine about the points (greys {lumen:.0f}, {dentine:.0f}, noise {noise:.0f})",
            remedy="pick the points inside the canal, in a scan of a tooth",
        )
    return Tones(dentine, lumen, noise, soft)


def _soft(block: Block, line: Array, dentine: float, lumen: float) -> float:
    """Grey of soft tissue: the darkest places within 4 mm, averaged over a voxel, less what blur lifts them by.

    What is darker by far than the lumen is air and tells nothing.
    """
    rng = np.random.default_rng(1)
    cloud = (line[:, None] + rng.uniform(-4.0, 4.0, (len(line), 100, 3))).reshape(-1, 3)
    cloud = cloud[block.inside(cloud)]
    shifts = 0.7 * block.voxel * np.vstack([np.eye(3), -np.eye(3)])
    greys = np.mean([block.sample(cloud + shift, smooth=False) for shift in shifts], axis=0)
    greys = greys[greys > lumen - 0.6 * (dentine - lumen)]
    darkest = float(np.quantile(greys, 0.01)) if len(greys) > 100 else lumen
    seen = min(lumen, darkest)
    return seen - LIFTED * (dentine - seen)


def _noise(block: Block, cloud: Array, dentine: float) -> float:
    """Noise of a voxel from third differences (Immerkaer 1996, in one dimension) where it is bright."""
    nz, ny, nx = block.grey.shape
    index = np.unique(np.round(block.to_index(cloud)).astype(int), axis=0)
    i, j, k = index[np.all((index >= 2) & (index < np.array([nx, ny, nz]) - 2), axis=1)].T
    g = block.grey
    third = g[k, j, i - 1] * 3.0 - g[k, j, i] * 3.0 + g[k, j, i + 1] - g[k, j, i - 2]
    bright = np.abs(g[k, j, i] - dentine) < 0.5 * np.abs(dentine - np.quantile(g[k, j, i], 0.02))
    values = third[bright] if bright.sum() > 50 else third
    return float(1.4826 * np.median(np.abs(values - np.median(values))) / np.sqrt(20.0))


def _darkest(grey: Array, node: tuple[int, int, int]) -> tuple[int, int, int]:
    """The darkest node within one of `node` (x, y, z): a click is rarely on the axis."""
    x, y, z = (max(n - 1, 0) for n in node)
    part = grey[z : z + 3, y : y + 3, x : x + 3]
    k, j, i = np.unravel_index(int(np.argmin(part)), part.shape)
    return x + int(i), y + int(j), z + int(k)


def _descend(arrival: NDArray[np.float32], start: tuple[int, int, int], stop: tuple[int, int, int]) -> NDArray[np.int_]:
    """Steepest descent over the 26 neighbours from `start` to `stop` (x, y, z): arrival times have no other minimum."""
    at = np.array(start)
    way = [at]
    top = np.array(arrival.shape[::-1]) - 1
    shifts = np.array([(a, b, c) for a in (-1, 0, 1) for b in (-1, 0, 1) for c in (-1, 0, 1) if (a, b, c) != (0, 0, 0)])
    size = np.linalg.norm(shifts, axis=1)
    for _ in range(20 * int(max(top))):
        if tuple(at) == stop:
            break
        around = at + shifts
        good = np.all((around >= 0) & (around <= top), axis=1)
        here = arrival[at[2], at[1], at[0]]
        fall = np.full(len(shifts), -np.inf)
        p = around[good]
        fall[good] = (here - arrival[p[:, 2], p[:, 1], p[:, 0]]) / size[good]
        best = int(np.argmax(fall))
        if fall[best] <= 0:
            break
        at = around[best]
        way.append(at)
    return np.array(way)
