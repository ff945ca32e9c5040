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
from canalwright.imaging.phantom.portals import BranchShape, IsthmusShape, Side, TruePortal, build
from canalwright.imaging.phantom.shapes import (
    CanalShape,
    RootShape,
    TrueCanal,
    canal_tube,
    flared,
    random_shape,
    root_tube,
    truth_of,
)
from canalwright.imaging.volume import Scan, affine_from

Array = NDArray[np.float64]
__all__ = ["CanalShape", "Greys", "Phantom", "RootShape", "Scanner", "TrueCanal", "make", "random_shape", "render"]
A_CANAL, A_ROOT = CanalShape(), RootShape()


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
    enamel: float = 2700.0


@dataclass(frozen=True)
class Phantom:
    """Shapes with their truth; `render` makes a scan of them."""

    root: Tube = field(repr=False)
    canals: tuple[Tube, ...] = field(repr=False)
    truth: tuple[TrueCanal, ...]
    ligament: float
    greys: Greys = Greys()
    crest: float | None = None
    cej: float | None = None
    side: Side | None = field(default=None, repr=False)
    portals: tuple[TruePortal, ...] = ()


def make(
    canals: Sequence[CanalShape] = (A_CANAL,),
    root: RootShape = A_ROOT,
    greys: Greys = Greys(),
    *,
    branches: Sequence[BranchShape] = (),
    isthmuses: Sequence[IsthmusShape] = (),
) -> Phantom:
    """Build the shapes and their truth. The root's end lies at the origin, the crown towards +z."""
    first = canals[0]
    outer = root_tube(root, first)
    tubes: list[Tube] = []
    for shape in canals:
        tubes.append(flared(canal_tube(shape, root, tubes[0] if tubes else None), outer, shape))
    truth = tuple(truth_of(t, outer, root.height, open_=s.mouth > 1) for t, s in zip(tubes, canals, strict=True))
    made = Phantom(outer, tuple(tubes), truth, root.ligament, greys, root.crest, root.cej)
    if not branches and not isthmuses:
        return made
    side, portals = build(branches, isthmuses, tubes, outer)
    return replace(made, side=side, portals=portals)


def render(phantom: Phantom, scanner: Scanner = Scanner(), seed: int = 0, *, margin: float = 1.2) -> Scan:
    """The phantom as `scanner` would see it: float32 greys, affine LPS, `margin` mm about the root.

    The coronal end is cut through: root and canal go on beyond the volume there.
    """
    rng = np.random.default_rng(seed)
    turn = turned(scanner.tilt)
    low, high = box_of(phantom, turn, margin)
    fine = scanner.voxel / scanner.oversample
    low = low + rng.uniform(0, scanner.voxel, 3)
    voxels = np.ceil((high - low) / scanner.voxel).astype(int)
    size = voxels * scanner.oversample
    steps = turn * fine
    start = turn @ low + steps @ np.full(3, 0.5)
    carve = phantom.side.carve if phantom.side is not None else None
    share_lumen, share_root, outside = fill(phantom.root, phantom.canals, start, steps, size, carve)
    g = phantom.greys
    bone = spongy_bone(rng, size, fine, g)
    near = np.clip(0.5 - (outside - phantom.ligament) / fine, 0, 1)
    grey = near * g.ligament + (1 - near) * bone
    if phantom.crest is not None or phantom.cej is not None:
        _above_bone(grey, phantom, outside, start, steps, fine)
    grey += share_root * (g.dentine - grey)
    grey += share_lumen * (g.lumen - grey)
    grey = gaussian_filter(grey, scanner.blur / fine, mode="nearest", truncate=4.0)
    k = scanner.oversample
    grey = grey.reshape(voxels[2], k, voxels[1], k, voxels[0], k).mean(axis=(1, 3, 5))
    grey = grey + noise_of(rng, grey.shape, scanner)
    affine = affine_from(turn @ (low + scanner.voxel / 2), turn * scanner.voxel)
    scan = Scan(grey.astype(np.float32), affine, "CT", path="phantom")
    return _with_metal(scan, scanner, g) if scanner.streak else scan


def _above_bone(grey: NDArray[np.float32], phantom: Phantom, outside: NDArray[np.float32], start: Array, steps: Array,
    fine: float,
) -> None:  # fmt: skip
    """Soft tissue above the crest and enamel above the junction, in place."""
    k, j, i = (np.arange(n, dtype=np.float32) for n in grey.shape)
    height = start[2] + steps[2, 0] * i + steps[2, 1] * j[:, None] + steps[2, 2] * k[:, None, None]
    if phantom.crest is not None:
        share = np.clip(0.5 + (height - phantom.crest) / fine, 0, 1)
        grey += share * (phantom.greys.ligament - grey)
    if phantom.cej is not None:
        thick = np.clip(0.4 * (height - phantom.cej), 0, 1.0)
        share = np.clip(0.5 - (outside - thick) / fine, 0, 1) * (height > phantom.cej)
        grey += share * (phantom.greys.enamel - grey)


def box_of(phantom: Phantom, turn: Array, margin: float) -> tuple[Array, Array]:
    """Least and greatest grid coordinates of the volume: the root from its end to 1.5 mm above orifices and levels."""
    tops = [t.orifice[2] + 1.5 for t in phantom.truth]
    tops += [level + 3.0 for level in (phantom.crest, phantom.cej) if level is not None]
    top = max(tops)
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
