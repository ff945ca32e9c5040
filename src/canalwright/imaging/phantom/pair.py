"""A phantom scanned before and after its filling, moved in between; with the artefacts that a dense filling makes.

Micro-CT is the plain model of `scan`: shares of cells, blur, average over the voxel, noise. A cone-beam scanner adds (`Artefact`): the
filling's excess over dentine is partly spread wide (blooming: `bloom` of it with a standard deviation of `spread` mm), dark bands lie in
the slice beside the filling (beam hardening, seen as greys lost in proportion to the filling's chord: `shade`), and greys are cut at
`ceiling`. Metal beside the root is the streak of `Scanner`. Invented shapes, for tests and teaching.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from scipy.spatial.transform import Rotation

from canalwright.imaging.phantom.filling import Filled, Filling, filled
from canalwright.imaging.phantom.scan import Greys, Phantom, Scanner, noise_of
from canalwright.imaging.volume import Scan, affine_from

Array = NDArray[np.float64]
FILLING = 7000.0
"""Grey of the filling on the scale where dense dentine is 1,700: about four times its attenuation."""


@dataclass(frozen=True)
class Artefact:
    """What a dense filling does to a cone-beam scan; all 0 (and no ceiling) for micro-CT."""

    bloom: float = 0.0
    spread: float = 0.5
    shade: float = 0.0
    ceiling: float = np.inf


CONE_BEAM = Artefact(bloom=0.15, spread=0.5, shade=120.0, ceiling=6000.0)


@dataclass(frozen=True)
class Pair:
    """Both scans; a place p in `before` is at `turn @ p + shift` in `after`."""

    before: Scan = field(repr=False)
    after: Scan = field(repr=False)
    turn: Array
    shift: Array


def pair(
    phantom: Phantom,
    filling: Filling,
    scanner: Scanner,
    artefact: Artefact = Artefact(),
    seed: int = 0,
    *,
    turned: tuple[float, float, float] = (3.0, -2.0, 5.0),
    shift: tuple[float, float, float] = (0.4, -0.3, 0.5),
    margin: float = 0.8,
) -> Pair:
    """Scan before, fill, move (`turned` degrees about x, y, z; `shift` mm), scan after."""
    rng = np.random.default_rng(seed)
    turn, move = _rotation(turned), np.asarray(shift, float)
    bony = int(rng.integers(1 << 30))
    low, high = _box(phantom, margin)
    none = Filling(99.0, 99.0, branches=tuple(replace(b, filled=-99.0) for b in filling.branches))
    before = _scan(phantom, none, scanner, Artefact(), rng, bony, low, high, np.eye(3), np.zeros(3))
    after = _scan(phantom, filling, scanner, artefact, rng, bony, low, high, turn, move)
    return Pair(before, after, turn, move)


def _scan(
    phantom: Phantom, filling: Filling, scanner: Scanner, artefact: Artefact, rng: np.random.Generator, bony: int,
    low: Array, high: Array, turn: Array, move: Array,
) -> Scan:  # fmt: skip
    """Voxels at q see the tooth at turn' (q - move)."""
    k = scanner.oversample
    fine = scanner.voxel / k
    voxels = np.ceil((high - low) / scanner.voxel).astype(int)
    first = low + rng.uniform(0, scanner.voxel, 3) if move.any() else low
    steps = turn.T * fine
    start = turn.T @ (first - move) + steps @ np.full(3, 0.5)
    tooth = filled(phantom, filling, start, steps, voxels * k)
    g = phantom.greys
    near = np.clip(0.5 - (tooth.outside - phantom.ligament) / fine, 0, 1)
    grey = near * g.ligament + (1 - near) * _bone(bony, voxels * k, start, steps, g)
    grey = grey + tooth.root * (g.dentine - grey)
    grey = grey + tooth.lumen * (g.lumen - grey)
    grey = grey + tooth.filling * (FILLING - grey)
    grey = _marred(grey, tooth, artefact, fine, g.dentine)
    grey = gaussian_filter(grey, scanner.blur / fine, mode="nearest", truncate=4.0)
    grey = grey.reshape(voxels[2], k, voxels[1], k, voxels[0], k).mean(axis=(1, 3, 5))
    grey = np.minimum(grey + noise_of(rng, grey.shape, scanner), artefact.ceiling)
    affine = affine_from(first + scanner.voxel / 2, np.eye(3) * scanner.voxel)
    return Scan(grey.astype(np.float32), affine, "CT", path="phantom")


def _bone(seed: int, size: NDArray[np.int_], start: Array, steps: Array, greys: Greys) -> NDArray[np.float32]:
    """Spongy bone that stays with the tooth: waves of chance directions, about 0.6 mm, the same in both scans."""
    rng = np.random.default_rng(seed)
    waves, phases = rng.normal(0, 2 * np.pi / 2.4, (12, 3)), rng.uniform(0, 2 * np.pi, 12)
    k, j, i = (np.arange(n, dtype=float) for n in size[::-1])
    total = np.zeros(size[::-1], np.float32)
    for wave, phase in zip(waves, phases, strict=True):
        x, y, z = (wave @ steps[:, a] for a in range(3))
        across = np.exp(1j * (wave @ start + phase + y * j[:, None] + x * i[None, :]))
        total += (np.exp(1j * z * k)[:, None, None] * across).real.astype(np.float32)
    share = 1 / (1 + np.exp(-total / 2 - 1.0))
    return np.asarray(greys.marrow + share * (greys.bone - greys.marrow), np.float32)


def _marred(
    grey: NDArray[np.float32], tooth: Filled, artefact: Artefact, fine: float, dentine: float
) -> NDArray[np.float32]:
    if artefact.bloom <= 0 and artefact.shade <= 0:
        return grey
    excess = tooth.filling * (FILLING - dentine)
    wide = gaussian_filter(excess, artefact.spread / fine, mode="nearest", truncate=3.0)
    made = grey + artefact.bloom * (wide - excess)
    if artefact.shade > 0:
        chord = tooth.filling.sum(axis=2, keepdims=True) * fine
        band = gaussian_filter(np.broadcast_to(chord, grey.shape), (0, 0.15 / fine, 0))
        made = made - artefact.shade * band * (1 - tooth.filling)
    return np.asarray(made, np.float32)


def _box(phantom: Phantom, margin: float) -> tuple[Array, Array]:
    top = max(t.orifice[2] for t in phantom.truth) + 0.3
    keep = phantom.root.centre[:, 2] <= top
    centre, reach = phantom.root.centre[keep], phantom.root.major[keep] / 2
    points = np.vstack([centre + reach[:, None] * s for s in (*np.eye(3)[:2], *-np.eye(3)[:2])])
    return points.min(0) - margin, points.max(0) + margin


def _rotation(degrees: tuple[float, float, float]) -> Array:
    return np.asarray(Rotation.from_euler("xyz", degrees, degrees=True).as_matrix())
