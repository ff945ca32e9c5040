"""Labels on the scan's own grid: which voxels lie in which canal, in the pulp, in the tooth."""

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import SimpleITK
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from canalwright.imaging.errors import ImagingError
from canalwright.imaging.found import FoundCanal
from canalwright.imaging.tooth.outline import Tooth
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
sitk: Any = SimpleITK


def labels(canals: Sequence[FoundCanal], scan: Scan) -> Scan:
    """A mask on the scan's grid, 1, 2, ... for the canals in order: voxels whose centre lies in the lumen."""
    out = np.zeros(scan.shape, np.uint8)
    for number, found in enumerate(canals, 1):
        lumen = found.lumen
        reach = lumen.major.max() / 2
        index = scan.to_index(lumen.centre)
        pad = reach / scan.spacing.min() + 1
        low = np.clip(np.floor(index.min(0) - pad), 0, None).astype(int)
        high = np.minimum(np.ceil(index.max(0) + pad) + 1, scan.shape[::-1]).astype(int)
        k, j, i = (a.ravel() for a in np.mgrid[low[2] : high[2], low[1] : high[1], low[0] : high[0]])
        points = scan.to_patient(np.column_stack([i, j, k]).astype(float))
        inside = _inside(points, found)
        out[k[inside], j[inside], i[inside]] = number
    return Scan(out, scan.affine, "SEG", path=scan.path)


def tooth_labels(tooth: Tooth, canals: Sequence[FoundCanal], scan: Scan) -> tuple[Scan, tuple[str, ...]]:
    """As `labels`, with two more numbers after the canals': the pulp about them and the rest of the tooth; and all names."""
    mask = labels(canals, scan)
    out = np.asarray(mask.voxels).copy()
    low, high = (scan.to_index(tooth.corners()).min(0) - 1, scan.to_index(tooth.corners()).max(0) + 2)
    low = np.clip(np.floor(low), 0, None).astype(int)
    high = np.minimum(np.ceil(high), scan.shape[::-1]).astype(int)
    k, j, i = (a.ravel() for a in np.mgrid[low[2] : high[2], low[1] : high[1], low[0] : high[0]])
    points = scan.to_patient(np.column_stack([i, j, k]).astype(float))
    free = out[k, j, i] == 0
    for number, part in ((len(canals) + 1, tooth.pulp), (len(canals) + 2, tooth.solid)):
        inside = free & tooth.holds(points, part)
        out[k[inside], j[inside], i[inside]] = number
        free &= ~inside
    return Scan(out, scan.affine, "SEG", path=scan.path), (*(c.name for c in canals), "pulp", "tooth")


def _inside(points: Array, found: FoundCanal) -> NDArray[np.bool_]:
    lumen = found.lumen
    _, at = cKDTree(lumen.centre).query(points)
    away = points - lumen.centre[at]
    tangent = np.gradient(lumen.centre, lumen.z, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1)[:, None]
    other = np.cross(tangent, lumen.axis)
    u = np.einsum("ij,ij->i", away, lumen.axis[at]) / (lumen.major[at] / 2)
    v = np.einsum("ij,ij->i", away, other[at]) / (lumen.minor[at] / 2)
    along = np.abs(np.einsum("ij,ij->i", away, tangent[at]))
    return np.asarray((u**2 + v**2 <= 1) & (along <= 0.11))


def nrrd_of(mask: Scan) -> bytes:
    """A mask as the content of an NRRD file."""
    with tempfile.TemporaryDirectory() as folder:
        return write_labels(mask, Path(folder) / "labels.nrrd").read_bytes()


def write_labels(mask: Scan, path: str | Path) -> Path:
    """Write a mask as NIfTI, NRRD or MHA, by the file's ending (it keeps its place in the patient)."""
    path = Path(path)
    if not path.name.lower().endswith((".nii", ".nii.gz", ".nrrd", ".mha")):
        raise ImagingError(f"{path}: ending; allowed: .nii, .nii.gz, .nrrd, .mha; give one of these")
    image = sitk.GetImageFromArray(np.asarray(mask.voxels))
    image.SetSpacing([float(v) for v in mask.spacing])
    image.SetOrigin([float(v) for v in mask.affine[:3, 3]])
    image.SetDirection((mask.affine[:3, :3] / mask.spacing).ravel().tolist())
    sitk.WriteImage(image, str(path), True)
    return path
