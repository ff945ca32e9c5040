"""An extracted tooth in a micro-CT: a phantom in air, rendered layer by layer so that it never lies in memory whole.

A tooth in voxels of 0.02 mm is half a gigabyte, and its fine cells eight times that. Each layer is filled with as many cells
above and below as the blur reaches, blurred, averaged over voxels and handed out; `write_stack` keeps it as what a
laboratory has: a folder of 16-bit TIFF slices without a voxel size. Bone and ligament are gone, the lumen may be dry.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import tifffile
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from canalwright.imaging.phantom.fill import fill
from canalwright.imaging.phantom.scan import Phantom, Scanner, box_of, noise_of, turned
from canalwright.imaging.volume import Scan, affine_from

Array = NDArray[np.float64]
Layer = NDArray[np.float32]
AIR = -1000.0
ROWS = 16
"""Voxels of one layer along z."""
ZERO = 2000
"""Stored value of grey 0 in a stack of unsigned slices."""


@dataclass(frozen=True)
class Layers:
    """`shape` (nz, ny, nx) and `affine` of the whole volume, and its layers from below, each (k, ny, nx) float32."""

    shape: tuple[int, int, int]
    affine: Array
    layers: Iterator[Layer]


def extracted(phantom: Phantom, scanner: Scanner, seed: int = 0, *, around: float = AIR, margin: float = 0.4) -> Layers:
    """The phantom's root alone in a medium of grey `around`, `margin` mm of it on every side; the coronal end is cut through."""
    turn = turned(scanner.tilt)
    low, high = box_of(phantom, turn, margin)
    voxels = np.ceil((high - low) / scanner.voxel).astype(int)
    affine = affine_from(turn @ (low + scanner.voxel / 2), turn * scanner.voxel)
    shape = (int(voxels[2]), int(voxels[1]), int(voxels[0]))
    return Layers(shape, affine, _layers(phantom, scanner, seed, around, low, turn, shape))


def in_memory(phantom: Phantom, scanner: Scanner, seed: int = 0, *, around: float = AIR, margin: float = 0.4) -> Scan:
    """The same as one scan, for small roots."""
    made = extracted(phantom, scanner, seed, around=around, margin=margin)
    return Scan(np.concatenate(list(made.layers)), made.affine, "CT", path="extracted tooth")


def write_stack(made: Layers, folder: Path) -> Path:
    """The layers as numbered TIFF slices in a new `folder`; grey 0 is stored as `ZERO`. Pictures keep no place: see `affine`."""
    folder.mkdir(parents=True)
    n = 0
    for layer in made.layers:
        stored = np.clip(np.round(layer) + ZERO, 0, 65535).astype(np.uint16)
        for one in stored:
            tifffile.imwrite(folder / f"slice{n:05d}.tif", one, photometric="minisblack")
            n += 1
    return folder


def _layers(
    phantom: Phantom, scanner: Scanner, seed: int, around: float, low: Array, turn: Array, shape: tuple[int, int, int]
) -> Iterator[Layer]:
    rng = np.random.default_rng(seed)
    k, fine = scanner.oversample, scanner.voxel / scanner.oversample
    steps = turn * fine
    pad = int(np.ceil(4 * scanner.blur / scanner.voxel))
    carve = phantom.side.carve if phantom.side is not None else None
    g = phantom.greys
    nz, ny, nx = shape
    for first in range(0, nz, ROWS):
        rows = min(ROWS, nz - first)
        start = turn @ (low + np.array([0, 0, (first - pad) * scanner.voxel])) + steps @ np.full(3, 0.5)
        size = np.array([nx, ny, rows + 2 * pad]) * k
        lumen, root, _ = fill(phantom.root, phantom.canals, start, steps, size, carve)
        grey = around + root * np.float32(g.dentine - around)
        grey += lumen * (g.lumen - grey)
        grey = gaussian_filter(grey, scanner.blur / fine, mode="nearest", truncate=4.0)
        seen = grey.reshape(rows + 2 * pad, k, ny, k, nx, k).mean(axis=(1, 3, 5))[pad : pad + rows]
        yield (seen + noise_of(rng, seen.shape, scanner)).astype(np.float32)
