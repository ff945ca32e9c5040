"""Real surfaces turned into scans: closed meshes filled, blurred, sampled. Real shape, synthetic scan.

Filling: through each column of a fine grid run the surface's crossings, each +1 or -1 by the side its triangle shows; their
running sum is the winding number, and the share of a cell that it covers along the column is exact. Columns whose sum
does not come back to 0 (open edges) take the values of their nearest whole neighbour.
"""

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter

from canalwright.imaging.phantom.scan import Greys, Scanner, noise_of
from canalwright.imaging.volume import Scan, affine_from

Array = NDArray[np.float64]
Shares = NDArray[np.float32]


DEFAULT_SCANNER = Scanner()
DEFAULT_GREYS = Greys()
AIR = -1000.0
ENAMEL = 2700.0


@dataclass(frozen=True)
class Mesh:
    """Triangles of a closed surface: `vertices` (n, 3) mm, `faces` (m, 3)."""

    vertices: Array
    faces: NDArray[np.int64]


def scan_of(
    lumen: Mesh,
    dentine: Mesh,
    enamel: Mesh | None = None,
    *,
    scanner: Scanner = DEFAULT_SCANNER,
    greys: Greys = DEFAULT_GREYS,
    box: tuple[Array, Array] | None = None,
    ligament: float | None = 0.2,
    seed: int = 0,
) -> Scan:
    """A scan of a tooth given by its surfaces. `box`: LPS corners (default: all of it and 2 mm).

    `ligament` mm of soft tissue, then bone, lie round the dentine; None for a tooth in air (grey -1000). The dentine may be
    the solid with its hollow or the outer surface alone: the lumen is taken out of it either way.
    """
    rng = np.random.default_rng(seed)
    all_points = np.vstack([lumen.vertices, dentine.vertices] + ([enamel.vertices] if enamel else []))
    low, high = box if box is not None else (all_points.min(0) - 2.0, all_points.max(0) + 2.0)
    low = np.asarray(low, float) + rng.uniform(0, scanner.voxel, 3)
    voxels = np.maximum(np.ceil((np.asarray(high) - low) / scanner.voxel).astype(int), 2)
    k = scanner.oversample
    fine = scanner.voxel / k
    size = voxels * k
    shape = (int(size[2]), int(size[1]), int(size[0]))
    hollow = filled(lumen, low, fine, shape)
    solid = np.maximum(filled(dentine, low, fine, shape), hollow)
    tooth = solid if enamel is None else np.maximum(solid, filled(enamel, low, fine, shape))
    if ligament is None:
        grey = np.full(shape, AIR, np.float32)
    else:
        away = _distance(tooth, k) * fine * k
        near = np.clip(0.5 - (away - ligament) / (fine * k), 0, 1)
        grey = (near * greys.ligament + (1 - near) * greys.bone).astype(np.float32)
    grey += tooth * ((greys.dentine if enamel is None else ENAMEL) - grey)
    if enamel is not None:
        grey += solid * (greys.dentine - grey)
    grey += hollow * (greys.lumen - grey)
    grey = gaussian_filter(grey, scanner.blur / fine, mode="nearest", truncate=4.0)
    seen = grey.reshape(voxels[2], k, voxels[1], k, voxels[0], k).mean(axis=(1, 3, 5))
    seen = seen + noise_of(rng, seen.shape, scanner)
    affine = affine_from(low + scanner.voxel / 2, np.eye(3) * scanner.voxel)
    return Scan(seen.astype(np.float32), affine, "CT", path="scan made from surfaces")


def filled(mesh: Mesh, low: Array, cell: float, shape: tuple[int, int, int]) -> Shares:
    """Share of each cell [z, y, x] inside the mesh; cell (0, 0, 0) has its lower corner at `low`."""
    steps = np.zeros((shape[0] + 1, shape[1], shape[2]), np.float32)
    corners = (mesh.vertices[mesh.faces] - low) / cell
    # a hair's breadth aside, so that no column runs exactly through an edge
    corners[..., 0] += 1.234e-4
    corners[..., 1] += 2.345e-4
    balance = np.zeros(shape[1:], np.int32)
    _crossings(corners, steps, balance)
    share = np.cumsum(steps[:-1], axis=0, dtype=np.float32)
    np.clip(share, 0, 1, out=share)
    broken = balance != 0
    if broken.any():
        _, (j, i) = distance_transform_edt(broken, return_indices=True)
        share = share[:, j, i]
    return share


def _distance(tooth: Shares, k: int) -> Shares:
    """Distance outside the tooth in coarse cells, on the grid of voxels, spread back to fine cells."""
    nz, ny, nx = tooth.shape
    coarse = tooth.reshape(nz // k, k, ny // k, k, nx // k, k).mean(axis=(1, 3, 5))
    away = distance_transform_edt(coarse < 0.5) - (coarse < 0.5) * coarse
    return np.asarray(np.repeat(np.repeat(np.repeat(away, k, 0), k, 1), k, 2), dtype=np.float32)


@numba.njit(cache=True)
def _crossings(corners, steps, balance):  # type: ignore[no-untyped-def]
    nz = steps.shape[0] - 1
    for f in range(len(corners)):
        x0, y0, z0 = corners[f, 0]
        x1, y1, z1 = corners[f, 1]
        x2, y2, z2 = corners[f, 2]
        area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        if area == 0.0:
            continue
        sign = -1.0 if area > 0 else 1.0
        for j in range(
            max(0, int(np.ceil(min(y0, y1, y2) - 0.5))), min(steps.shape[1], int(max(y0, y1, y2) - 0.5) + 1)
        ):
            y = j + 0.5
            for i in range(
                max(0, int(np.ceil(min(x0, x1, x2) - 0.5))), min(steps.shape[2], int(max(x0, x1, x2) - 0.5) + 1)
            ):
                x = i + 0.5
                a = ((x1 - x) * (y2 - y) - (x2 - x) * (y1 - y)) / area
                b = ((x2 - x) * (y0 - y) - (x0 - x) * (y2 - y)) / area
                c = 1.0 - a - b
                if a < 0 or b < 0 or c < 0:
                    continue
                balance[j, i] += 1 if sign > 0 else -1
                z = a * z0 + b * z1 + c * z2
                if z <= 0:
                    steps[0, j, i] += sign
                elif z < nz:
                    k = int(z)
                    # entering at z fills the rest of cell k, and all of the next
                    steps[k, j, i] += sign * (k + 1 - z)
                    steps[k + 1, j, i] += sign * (z - k)
