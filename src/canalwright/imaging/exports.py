"""A found canal for other programs: tables, surfaces, labels.

Files name the unit in the key. Points stay in scan space (LPS mm), as STL, OBJ, PLY and GLB files know no space of their own.
"""

import csv
import io
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import SimpleITK
import trimesh
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from canalwright.imaging.errors import ImagingError
from canalwright.imaging.found import FoundCanal
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
sitk: Any = SimpleITK
AROUND = 48
SURFACES = (".stl", ".obj", ".ply", ".glb", ".gltf")
COLUMNS = (
    "z_mm", "x_mm", "y_mm", "z_lps_mm", "least_width_mm", "greatest_width_mm", "width_error_mm", "wall_mm",
    "wall_error_mm", "area_mm2", "axis_x", "axis_y", "axis_z",
)  # fmt: skip


def rows(found: FoundCanal) -> Array:
    """One row a station, columns as in `COLUMNS`, shape (n, 13)."""
    lumen = found.lumen
    return np.column_stack(
        [lumen.z, lumen.centre, lumen.minor, lumen.major, found.width_error, lumen.wall, found.wall_error, lumen.area,
         lumen.axis]
    )  # fmt: skip


def as_csv(found: FoundCanal) -> str:
    """Centreline, widths and wall by station as comma-separated text with a header line."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows([[f"{v:.4f}" for v in row] for row in rows(found)])
    return out.getvalue()


def as_json(found: FoundCanal) -> str:
    """The same with length, ends, quality, source and notes, as JSON text."""
    return json.dumps(
        {
            "name": found.name,
            "length_mm": round(found.length, 4),
            "length_error_mm": round(found.length_error, 4),
            "foramen_mm": round(found.foramen, 4),
            "orifice_lps_mm": np.round(found.orifice, 4).tolist(),
            "terminus_lps_mm": np.round(found.terminus, 4).tolist(),
            "join_mm": found.join,
            "joined": found.joined,
            "quality": {"score": found.quality.score, "reasons": list(found.quality.reasons)},
            "source": found.source,
            "notes": list(found.notes),
            "columns": list(COLUMNS),
            "stations": np.round(rows(found), 4).tolist(),
        },
        indent=1,
    )


def lumen_surface(found: FoundCanal) -> trimesh.Trimesh:
    """The lumen as a closed surface of ellipses, LPS mm."""
    lumen = found.lumen
    tangent = np.gradient(lumen.centre, lumen.z, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1)[:, None]
    other = np.cross(tangent, lumen.axis)
    turn = np.linspace(0, 2 * np.pi, AROUND, endpoint=False)
    # the same corner must lie in the same direction at every station: an axis may turn by half a circle
    sign = np.cumprod(
        np.concatenate([[1.0], np.where(np.sum(lumen.axis[1:] * lumen.axis[:-1], axis=1) < 0, -1.0, 1.0)])
    )
    a = (lumen.major / 2 * sign)[:, None, None] * lumen.axis[:, None]
    b = (lumen.minor / 2 * sign)[:, None, None] * other[:, None]
    rings = lumen.centre[:, None] + np.cos(turn)[:, None] * a + np.sin(turn)[:, None] * b
    n = lumen.size
    k = np.arange(AROUND)
    quads = np.array([[i * AROUND + k, i * AROUND + (k + 1) % AROUND] for i in range(n - 1)])
    low, high = quads.transpose(1, 0, 2).reshape(2, -1)
    faces = np.vstack(
        [np.column_stack([low, high, high + AROUND]), np.column_stack([low, high + AROUND, low + AROUND])]
    )
    first, last = n * AROUND, n * AROUND + 1
    end = (n - 1) * AROUND
    caps = np.vstack(
        [np.column_stack([np.full(AROUND, first), (k + 1) % AROUND, k]),
         np.column_stack([np.full(AROUND, last), end + k, end + (k + 1) % AROUND])]
    )  # fmt: skip
    points = np.vstack([rings.reshape(-1, 3), lumen.centre[[0, -1]]])
    return trimesh.Trimesh(points, np.vstack([faces, caps]), process=False)


def write_surface(found: FoundCanal, path: str | Path) -> Path:
    """Write the lumen's surface as STL, OBJ, PLY, GLB or glTF, by the file's ending. Raises ImagingError for another."""
    path = Path(path)
    if path.suffix.lower() not in SURFACES:
        raise ImagingError(f"{path}: ending {path.suffix!r}; allowed: {', '.join(SURFACES)}; give one of these")
    lumen_surface(found).export(path)
    return path


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
    return Scan(out, scan.affine, "SEG")


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


def write_labels(canals: Sequence[FoundCanal], scan: Scan, path: str | Path) -> Path:
    """Write `labels` as NIfTI, NRRD or MHA, by the file's ending (it keeps the scan's place in the patient)."""
    path = Path(path)
    if not path.name.lower().endswith((".nii", ".nii.gz", ".nrrd", ".mha")):
        raise ImagingError(f"{path}: ending; allowed: .nii, .nii.gz, .nrrd, .mha; give one of these")
    mask = labels(canals, scan)
    image = sitk.GetImageFromArray(np.asarray(mask.voxels))
    image.SetSpacing([float(v) for v in mask.spacing])
    image.SetOrigin([float(v) for v in mask.affine[:3, 3]])
    image.SetDirection((mask.affine[:3, :3] / mask.spacing).ravel().tolist())
    sitk.WriteImage(image, str(path), True)
    return path
