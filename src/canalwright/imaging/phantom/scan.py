"""Teeth whose every measure is known, seen through a model of a scanner. Invented shapes, for tests and teaching.

A phantom is a root (a tapering oval tube with a rounded end) in ligament and bone, with one or two canals: curved,
tapering, oval, turning, joining. Its surfaces are implicit functions; `render` fills a grid finer than the voxel with
the share of each material, blurs it with the scanner's point spread, averages it over voxels (partial volume), and
adds noise and, when asked, metal with streaks. Everything follows from the seed.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from canalwright.imaging.phantom.fill import Tube, fill
from canalwright.imaging.sections import gap
from canalwright.imaging.volume import Scan, affine_from

Array = NDArray[np.float64]
TABLE_STEP = 0.05


@dataclass(frozen=True)
class Scanner:
    """Voxel size (mm), standard deviation of the point spread (mm, before the voxel's own average), noise (greys).

    `grain`: correlation of the noise, as the standard deviation in voxels of the blur that made it. `streak`: greys
    of metal streaks at 3 mm from the metal, 0 for none. `oversample`: fine cells along a voxel's side. `tilt`:
    degrees by which the grid is turned about x and y against the tooth.
    """

    voxel: float = 0.15
    blur: float = 0.12
    noise: float = 60.0
    grain: float = 0.5
    streak: float = 0.0
    oversample: int = 4
    tilt: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Greys:
    """Grey of each material, on a scale where water is 0 and dense dentine about 1,700."""

    lumen: float = 0.0
    dentine: float = 1700.0
    ligament: float = 100.0
    bone: float = 1000.0
    marrow: float = 300.0
    metal: float = 8000.0


@dataclass(frozen=True)
class CanalShape:
    """A canal to be made: `apical` least width at the end (mm), `taper` (mm per mm), `ratio` major to minor at the
    end and at the orifice, `turn` of the long axis (degrees over the length), `aside` from the root's axis (mm),
    `bend` (degrees) over the last `curved` mm towards `towards` (degrees about the root's axis); `join`: the height
    above the root's end at which it meets the first canal, for a second one.
    """

    apical: float = 0.3
    taper: float = 0.06
    ratio: tuple[float, float] = (1.2, 1.8)
    turn: float = 20.0
    aside: tuple[float, float] = (0.15, 0.1)
    bend: float = 25.0
    curved: float = 6.0
    towards: float = 30.0
    join: float | None = None


@dataclass(frozen=True)
class RootShape:
    """A root: height from its end to the orifices (mm), half widths at its end's shoulder, growth per mm, ligament."""

    height: float = 12.0
    half: tuple[float, float] = (1.5, 1.9)
    growth: float = 0.09
    ligament: float = 0.2


@dataclass(frozen=True)
class TrueCanal:
    """The truth of one canal by station, z = 0 where its centreline leaves the root, growing coronally; mm.

    Arrays (n,), `centre`, `axis` (n, 3) in LPS. `wall` is the least distance in the cross plane from lumen to root.
    """

    z: Array
    centre: Array
    minor: Array
    major: Array
    axis: Array
    wall: Array
    length: float

    @property
    def orifice(self) -> Array:
        """Coronal end of the centreline, shape (3,)."""
        return np.asarray(self.centre[-1])

    @property
    def terminus(self) -> Array:
        """Where the centreline leaves the root, shape (3,)."""
        return np.asarray(self.centre[0])


@dataclass(frozen=True)
class Phantom:
    """Shapes with their truth; `render` makes a scan of them."""

    root: Tube = field(repr=False)
    canals: tuple[Tube, ...] = field(repr=False)
    truth: tuple[TrueCanal, ...]
    ligament: float
    greys: Greys = Greys()


def make(
    canals: Sequence[CanalShape] = (CanalShape(),), root: RootShape = RootShape(), greys: Greys = Greys()
) -> Phantom:
    """Build the shapes and their truth. The root's end lies at the origin, the crown towards +z."""
    first = canals[0]
    outer = _root_tube(root, first)
    tubes: list[Tube] = []
    for shape in canals:
        tubes.append(_canal_tube(shape, root, tubes[0] if tubes else None))
    truth = tuple(_truth(tube, outer, root.height) for tube in tubes)
    return Phantom(outer, tuple(tubes), truth, root.ligament, greys)


def random_shape(seed: int, *, apical: float | None = None) -> tuple[tuple[CanalShape, ...], RootShape]:
    """A plausible single canal and root drawn from ranges of our own choosing."""
    rng = np.random.default_rng(seed)
    width = float(rng.uniform(0.2, 0.4)) if apical is None else apical
    shape = CanalShape(
        apical=width,
        taper=float(rng.uniform(0.02, 0.08)),
        ratio=(float(rng.uniform(1.0, 1.6)), float(rng.uniform(1.2, 2.6))),
        turn=float(rng.uniform(-40, 40)),
        aside=(float(rng.uniform(-0.3, 0.3)), float(rng.uniform(-0.3, 0.3))),
        bend=float(rng.uniform(0, 40)),
        curved=float(rng.uniform(4, 8)),
        towards=float(rng.uniform(0, 360)),
    )
    half = float(rng.uniform(1.2, 1.8))
    root = RootShape(
        height=float(rng.uniform(9, 12)),
        half=(half, half * float(rng.uniform(1.0, 1.4))),
        growth=float(rng.uniform(0.04, 0.1)),
        ligament=float(rng.uniform(0.15, 0.3)),
    )
    return (shape,), root


def render(phantom: Phantom, scanner: Scanner = Scanner(), seed: int = 0, *, margin: float = 1.2) -> Scan:
    """The phantom as `scanner` would see it: float32 greys, affine LPS, `margin` mm about the root.

    The coronal end is cut through: root and canal go on beyond the volume there.
    """
    rng = np.random.default_rng(seed)
    turn = turned(scanner.tilt)
    low, high = _box(phantom, turn, margin)
    fine = scanner.voxel / scanner.oversample
    low = low + rng.uniform(0, scanner.voxel, 3)
    voxels = np.ceil((high - low) / scanner.voxel).astype(int)
    size = voxels * scanner.oversample
    steps = turn * fine
    start = turn @ low + steps @ np.full(3, 0.5)
    share_lumen, share_root, outside = fill(phantom.root, phantom.canals, start, steps, size)
    g = phantom.greys
    bone = spongy_bone(rng, size, fine, g)
    near = np.clip(0.5 - (outside - phantom.ligament) / fine, 0, 1)
    grey = near * g.ligament + (1 - near) * bone
    grey += share_root * (g.dentine - grey)
    grey += share_lumen * (g.lumen - grey)
    grey = gaussian_filter(grey, scanner.blur / fine, mode="nearest", truncate=4.0)
    k = scanner.oversample
    grey = grey.reshape(voxels[2], k, voxels[1], k, voxels[0], k).mean(axis=(1, 3, 5))
    grey = grey + noise_of(rng, grey.shape, scanner)
    affine = affine_from(turn @ (low + scanner.voxel / 2), turn * scanner.voxel)
    scan = Scan(grey.astype(np.float32), affine, "CT", path="phantom")
    return _with_metal(scan, scanner, g) if scanner.streak else scan


def _root_tube(root: RootShape, bend: CanalShape) -> Tube:
    above = np.arange(0.0, root.height + 4.0, TABLE_STEP)
    centre = _bent(above, replace(bend, bend=bend.bend * 0.8), root.height)
    cap = root.half[0]
    grown = np.maximum(above - cap, 0) * root.growth
    return Tube.along(centre, 2 * (root.half[0] + grown), 2 * (root.half[1] + grown), np.zeros_like(above), cap=cap)


def _canal_tube(shape: CanalShape, root: RootShape, first: Tube | None) -> Tube:
    above = np.arange(0.0, root.height + 4.0, TABLE_STEP)
    centre = _bent(above, shape, root.height) + np.array([*shape.aside, 0.0])
    if first is not None and shape.join is not None:
        on = 1 / (1 + np.exp(-(above - shape.join - 1.2) / 0.35))
        count = min(len(first.centre), len(centre))
        centre = centre[:count] * on[:count, None] + first.centre[:count] * (1 - on[:count, None])
        above = above[:count]
    share = np.clip(above / root.height, 0, 1.2)
    minor = shape.apical + shape.taper * above
    ratio = shape.ratio[0] + (shape.ratio[1] - shape.ratio[0]) * share
    return Tube.along(centre, minor, minor * ratio, np.radians(shape.turn) * share)


def _bent(above: Array, shape: CanalShape, height: float) -> Array:
    """A straight line above `curved`, an arc of `bend` degrees below it; by arc length from the root's end."""
    total = np.radians(shape.bend)
    angle = np.where(above < shape.curved, total * (1 - above / shape.curved), 0.0)
    down = -np.concatenate([[0.0], np.cumsum((np.sin(angle[1:]) + np.sin(angle[:-1])) / 2 * TABLE_STEP)])
    up = np.concatenate([[0.0], np.cumsum((np.cos(angle[1:]) + np.cos(angle[:-1])) / 2 * TABLE_STEP)])
    way = np.radians(shape.towards)
    aside = down - down[-1]
    return np.column_stack([aside * np.cos(way), aside * np.sin(way), up])


def _truth(tube: Tube, root: Tube, height: float) -> TrueCanal:
    """Stations every 0.1 mm from where the centreline leaves the root."""
    level = root.level(tube.centre)
    inside = np.nonzero(level < 0)[0]
    at = int(inside[0])
    arc = np.arange(len(tube.centre)) * TABLE_STEP
    if at == 0:
        start = -float(level[0]) / float(np.gradient(level)[0]) * TABLE_STEP
    else:
        start = float(np.interp(0.0, [-level[at - 1], -level[at]], [arc[at - 1], arc[at]]))
    length = float(tube.arc(height)) - start
    z = np.arange(0.0, length + 1e-9, 0.1)
    s = start + z
    centre = tube.at(s, tube.centre)
    minor, major = tube.at(s, tube.minor), tube.at(s, tube.major)
    axis = tube.at(s, tube.major_axis())
    axis /= np.linalg.norm(axis, axis=1)[:, None]
    other = np.cross(tube.at(s, tube.tangent), axis)
    wall = np.array([_wall(centre[i], axis[i], other[i], major[i] / 2, minor[i] / 2, root) for i in range(len(z))])
    return TrueCanal(z, centre, minor, major, axis, wall, length)


def _wall(centre: Array, axis: Array, other: Array, long: float, short: float, root: Tube) -> float:
    turn = np.linspace(0, 2 * np.pi, 96, endpoint=False)
    ways = np.cos(turn)[:, None] * axis + np.sin(turn)[:, None] * other
    low, high = np.zeros(96), np.full(96, 8.0)
    for _ in range(30):
        middle = (low + high) / 2
        within = root.level(centre + middle[:, None] * ways) < 0
        low, high = np.where(within, middle, low), np.where(within, high, middle)
    outer = low[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    inner = np.column_stack([long * np.cos(turn), short * np.sin(turn)])
    crossed = low < np.hypot(inner[:, 0], inner[:, 1])
    return 0.0 if crossed.any() else gap(inner, outer)[0]


def _box(phantom: Phantom, turn: Array, margin: float) -> tuple[Array, Array]:
    """Least and greatest grid coordinates of the volume: the root from its end to 1.5 mm above the orifices."""
    top = max(t.orifice[2] for t in phantom.truth) + 1.5
    keep = phantom.root.centre[phantom.root.centre[:, 2] <= top]
    reach = phantom.root.major[: len(keep)] / 2
    points = np.vstack([keep + reach[:, None] * s for s in np.vstack([np.eye(3)[:2], -np.eye(3)[:2]])])
    grid = np.vstack([points, keep]) @ turn
    low, high = grid.min(0) - margin, grid.max(0) + margin
    high[2] = (keep @ turn)[:, 2].max()
    return low, high


def turned(tilt: tuple[float, float]) -> Array:
    """Axes of a grid turned by `tilt` degrees about x and y, in columns."""
    a, b = np.radians(tilt)
    x = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    y = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    return np.asarray(x @ y)


def spongy_bone(rng: np.random.Generator, size: NDArray[np.int_], fine: float, greys: Greys) -> NDArray[np.float32]:
    """Spongy bone: a smooth field of chance between marrow and bone, features about 0.5 mm."""
    coarse = np.maximum(np.ceil(size * fine / 0.25).astype(int), 2)
    field_ = gaussian_filter(rng.standard_normal(coarse[::-1]), 1.0)
    field_ = (field_ - field_.mean()) / field_.std()
    share = 1 / (1 + np.exp(-3 * field_ - 1.0))
    index = [
        np.minimum((np.arange(n) * fine / 0.25).astype(int), c - 1)
        for n, c in zip(size[::-1], coarse[::-1], strict=True)
    ]
    wide = share[np.ix_(*index)]
    return np.asarray(greys.marrow + wide * (greys.bone - greys.marrow), dtype=np.float32)


def noise_of(rng: np.random.Generator, shape: tuple[int, ...], scanner: Scanner) -> Array:
    """Noise of a scanner, correlated over `grain` voxels."""
    white = rng.standard_normal(shape)
    if scanner.grain > 0:
        white = gaussian_filter(white, scanner.grain, mode="wrap")
        white /= white.std()
    return np.asarray(white * scanner.noise)


def _with_metal(scan: Scan, scanner: Scanner, greys: Greys) -> Scan:
    """A metal crown remnant beside the coronal end, with streaks that fan out from it in its slices."""
    nz, ny, nx = scan.shape
    h = scanner.voxel
    y, x = np.mgrid[0:ny, 0:nx] * h
    centre = np.array([nx * h * 0.1, ny * h * 0.2])
    away = np.hypot(x - centre[0], y - centre[1])
    fan = np.cos(14 * np.arctan2(y - centre[1], x - centre[0])) * np.minimum(3.0 / np.maximum(away, 0.6), 4.0)
    high = np.arange(nz) * h
    strength = np.exp(-(((high - high[-1]) / (0.35 * high[-1])) ** 2))
    grey = scan.voxels + scanner.streak * strength[:, None, None] * fan
    grey[(strength[:, None, None] > 0.85) & (away[None] < 0.8)] = greys.metal
    return replace(scan, voxels=grey.astype(np.float32))
