"""One click in a tooth: its hard tissue, its axis, its pulp.

On cubes of `STEP` mm about the click: hard tissue is what is brighter than dentine less `DARK` of the contrast; an opening
cuts bridges to bone and to neighbours; the piece at the click is the tooth. Its longest axis is the tooth's, crown
where enamel is (the brighter end), else where it is thicker. Hollows of its slices are its pulp.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import (
    binary_dilation,
    binary_erosion,
    binary_fill_holes,
    binary_opening,
    distance_transform_edt,
    gaussian_filter,
    label,
)

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
ENAMEL = 0.35
"""Share of the contrast above dentine from which a node is enamel."""
LEAST_CAP = 8.0
"""Least volume of an enamel cap, mm3."""
SIZES = (7.0, 34.0)
"""Plausible length of a tooth, mm."""


@dataclass(frozen=True)
class Tooth:
    """A tooth on its own grid [z, y, x] (z towards the crown): node (x, y, z) lies at `origin + STEP * (x, y, z) @ axes`.

    `solid`: hard tissue with its hollows; `dark` 0 (dentine) to 1 (lumen); `pulp`: the hollow found; `dentine` and
    `contrast`: greys. `cej`: height (node) of the enamel's lower border, None where no enamel is seen. `notes`: doubts.
    """

    block: Block
    origin: Array
    axes: Array
    solid: Mask
    dark: Array
    pulp: Mask
    dentine: float
    contrast: float
    cej: float | None
    notes: tuple[str, ...]

    def place(self, nodes: Array) -> Array:
        """LPS points (m, 3) of nodes (m, 3) given as [z, y, x]."""
        return np.asarray(self.origin + STEP * np.asarray(nodes, float)[:, ::-1] @ self.axes)

    def corners(self) -> Array:
        """Corners (8, 3) of the tooth's own box, LPS mm."""
        nodes = np.argwhere(self.solid)
        ends = np.stack([nodes.min(0), nodes.max(0)]).astype(float)
        return self.place(np.array([[ends[b >> a & 1][a] for a in range(3)] for b in range(8)]))

    def holds(self, points: Array, part: Mask | None = None) -> Mask:
        """Whether LPS points (m, 3) lie in the solid tooth, or in a `part` of it given as a mask on its grid."""
        nodes = np.round((np.asarray(points) - self.origin) @ self.axes.T / STEP).astype(int)
        inside = np.all((nodes >= 0) & (nodes < np.array(self.solid.shape[::-1])), axis=1)
        x, y, z = np.where(inside[:, None], nodes, 0).T
        return np.asarray((self.solid if part is None else part)[z, y, x] & inside)

    def darkness(self, points: Array) -> Array:
        """0 (dentine) to 1 (lumen) at LPS points (..., 3), at the scan's own resolution."""
        return np.asarray(np.clip((self.dentine - self.block.sample(points)) / self.contrast, -0.2, 1.0))

    @property
    def crown(self) -> Array:
        """Unit direction from root to crown."""
        return np.asarray(self.axes[2])


@dataclass(frozen=True)
class _Body:
    """The bright body at a click: `mask` on the cube of nodes `grid`, its directions and length; `out`: it leaves the cube."""

    block: Block
    grid: Array
    mask: Mask
    axes: Array
    length: float
    tones: tuple[float, float, float]
    out: bool
    notes: tuple[str, ...]


def find_tooth(scan: Scan | Opened, click: Array) -> Tooth:
    """The tooth at `click` (LPS mm). Raises ScanError when there is none there, or none that stands alone.

    What is looked at is a cube about the click; a tooth that reaches out of it, as when its cusp is clicked, is looked for
    once more about its own middle.
    """
    click = np.asarray(click, float)
    body = _body(scan, click, click)
    if body.out:
        middle = body.grid[body.mask].mean(axis=0)
        again = _body(scan, click, middle) if scan.holds(middle) else body
        body = body if again.out else again
    if not SIZES[0] <= body.length <= SIZES[1]:
        raise refusal(
            scan.path or "scan in memory", f"the bright body at the point is {body.length:.1f} mm long",
            allowed=f"{SIZES[0]:.0f} to {SIZES[1]:.0f} mm", remedy="click inside one tooth",
        )  # fmt: skip
    return _upright(body, scan.path or "scan in memory")


def _body(scan: Scan | Opened, click: Array, middle: Array) -> _Body:
    """The bright body at `click` in the cube about `middle`."""
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
    dentine = _dentine(grey[(away < 3.0) & inside], float(np.median(grey[away < 0.5])), soft)
    contrast = dentine - soft
    noise = 1.4826 * float(np.median(np.abs(np.diff(grey[(away < 2.0) & inside])))) / np.sqrt(2)
    if contrast < 4 * noise:
        raise refusal(where, "no bright tooth about the point", remedy="click inside a tooth")
    hard = (grey > dentine - DARK * contrast) & inside
    ball = np.linalg.norm(np.indices((5, 5, 5)).transpose(1, 2, 3, 0) - 2, axis=-1) * STEP <= BRIDGE
    names, _ = label(binary_opening(hard, ball))
    tooth = binary_dilation(names == _name_near(names, centre, where), ball) & hard
    axes, length = _axes(tooth, grey, contrast)
    tooth = _with_tips(tooth, hard, axes[2])
    faces = sum(int(tooth.take(end, axis).sum()) for axis in range(3) for end in (0, -1))
    edge = tooth & ~binary_erosion(inside)
    out = faces > 25
    notes: tuple[str, ...] = ()
    if out or edge.sum() > 0.03 * tooth.sum():
        notes = ("the tooth reaches the edge of what was looked at: it may hang together with its neighbours",)
    return _Body(block, grid, tooth, axes, length, (dentine, contrast, noise), out, notes)


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
        raise refusal(where, "no hard tissue within 2.5 mm of the point", remedy="click inside a tooth")
    index = distance_transform_edt(part == 0, return_distances=False, return_indices=True)
    at = index[:, k, k, k]
    return int(part[tuple(at)])


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


def _upright(body: _Body, where: str) -> Tooth:
    """The tooth sampled anew along its own axes, its hollows filled, its pulp found."""
    block, grid, tooth, axes = body.block, body.grid, body.mask, body.axes
    dentine, contrast, noise = body.tones
    points = grid[tooth]
    low = (points @ axes.T).min(0) - 1.0
    high = (points @ axes.T).max(0) + 1.0
    size = np.ceil((high - low) / STEP).astype(int) + 1
    z, y, x = np.meshgrid(*(STEP * np.arange(n) for n in size[::-1]), indexing="ij")
    nodes = (np.stack([x, y, z], axis=-1) + low) @ axes
    index = np.round((nodes - grid[0, 0, 0]) / STEP).astype(int)
    good = np.all((index >= 0) & (index < np.array(tooth.shape[::-1])), axis=-1)
    i, j, k = np.where(good[..., None], index, 0).transpose(3, 0, 1, 2)
    hard = tooth[k, j, i] & good
    grey = gaussian_filter(block.sample(nodes, smooth=False), 0.5, mode="nearest")
    solid = np.array([binary_fill_holes(one) for one in hard])
    core = distance_transform_edt(solid, sampling=STEP) > 0.4
    dark = np.clip((dentine - grey) / contrast, 0, 1)
    level = max(0.25, 5 * noise / contrast)
    names, _ = label((dark > level) & core, np.ones((3, 3, 3)))
    sizes = np.bincount(names.ravel())
    sizes[0] = 0
    pulp = np.isin(names, np.nonzero(sizes >= max(0.02 * sizes.max(), 0.3 / STEP**3))[0])
    if not pulp.any():
        raise refusal(where, "no pulp found in the tooth at the point", remedy="give orifice and terminus by hand")
    return Tooth(
        block,
        low @ axes,
        axes,
        solid,
        dark,
        pulp,
        dentine,
        contrast,
        _cej(grey > dentine + ENAMEL * contrast, solid),
        body.notes,
    )


def _cej(enamel: Mask, solid: Mask) -> float | None:
    """Height below which a twentieth of the enamel lies, when there is a cap of it."""
    names, count = label(enamel & solid, np.ones((3, 3, 3)))
    if count == 0:
        return None
    cap = names == 1 + int(np.argmax(np.bincount(names.ravel())[1:]))
    if cap.sum() * STEP**3 < LEAST_CAP:
        return None
    return float(np.quantile(np.argwhere(cap)[:, 0], 0.05))
