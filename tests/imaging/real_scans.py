"""Scans made from real surfaces: real shape, synthetic scan. Skips where the data is not at hand."""

import csv
from functools import cache

import numpy as np
import trimesh
from numpy.typing import NDArray

from canalwright.imaging import Scan
from canalwright.imaging.phantom.mesh import Mesh, scan_of
from canalwright.imaging.phantom.scan import Scanner
from tests.support.shared_data import shared_data

Array = NDArray[np.float64]


def mesh(*parts: str) -> Mesh:
    loaded = trimesh.load(shared_data(*parts))
    return Mesh(np.asarray(loaded.vertices, dtype=float), np.asarray(loaded.faces, dtype=np.int64))


@cache
def incisor(voxel: float = 0.15, top: float = 9.0) -> tuple[Scan, Array]:
    """Apical part of the upper incisor, and rows x, y, z, least width, area of its lumen's sections up to `top` mm."""
    with shared_data("incisor_meshes", "pulp_sections.csv").open() as table:
        rows = [r for r in csv.DictReader(table) if float(r["dist_from_apical_end_mm"]) <= top]
    truth = np.array([[float(r[k]) for k in ("cx", "cy", "cz", "min_width_mm", "area_mm2")] for r in rows])
    low, high = truth[:, :3].min(0) - 3.2, truth[:, :3].max(0) + 3.2
    scan = scan_of(
        mesh("incisor_meshes", "pulp.ply"),
        mesh("incisor_meshes", "dentine.ply"),
        scanner=Scanner(voxel=voxel, blur=0.8 * voxel, noise=60.0, oversample=2),
        box=(low, high),
    )
    return scan, truth
