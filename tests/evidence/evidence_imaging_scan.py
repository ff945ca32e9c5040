"""Canals traced in scans: against closed forms, a general-purpose library, the DICOM standard's formula and a real tooth's sections.

Rows on real data stand only where it lies beside the repository. The greater study (100 phantoms) is docs/models/scan-accuracy.md.
"""

import os
from functools import cache
from pathlib import Path

import numpy as np
import SimpleITK
from scipy.ndimage import distance_transform_edt
from scipy.spatial import cKDTree
from skimage.morphology import skeletonize

from canalwright.imaging import FoundCanal, read_scan, trace
from canalwright.imaging.phantom.scan import CanalShape, Phantom, RootShape, Scanner, make, render
from canalwright.imaging.tracing.blurred_ellipse import blurred
from canalwright.imaging.volume import Scan
from tests.evidence.table import Check
from tests.imaging.real_scans import incisor

DATA = Path(os.environ.get("CANALWRIGHT_DATA", Path(__file__).parents[3] / "shared" / "data"))
UPPER = "meshes of an upper incisor (micro-CT likely), Profico & Augoyard, R package, sections beside them"
FINE = 0.1


def _disc_at_centre() -> float:
    zero = np.zeros(1)
    return float(blurred(zero, zero, np.full(1, 0.15), np.full(1, 0.15), zero, 0.12)[0, 0])


@cache
def _clean() -> tuple[Phantom, Scan, FoundCanal]:
    """A nearly round canal in fine voxels without noise or blur: where a general-purpose skeleton does well."""
    shape = CanalShape(apical=0.5, taper=0.04, ratio=(1.0, 1.1), aside=(0.1, 0.1), bend=20)
    phantom = make((shape,), RootShape(height=7.0))
    scan = render(phantom, Scanner(voxel=FINE, blur=0.05, noise=5.0, oversample=2), 1, margin=0.8)
    true = phantom.truth[0]
    return phantom, scan, trace(scan, true.orifice, true.terminus)


@cache
def _skeleton() -> tuple[np.ndarray, np.ndarray]:
    """Points on the middle third of the lumen's skeleton (scikit-image), and twice the distance to its edge (SciPy)."""
    phantom, scan, _ = _clean()
    true = phantom.truth[0]
    dark = scan.voxels < 850
    points = np.argwhere(skeletonize(dark))
    place = scan.to_patient(points[:, ::-1].astype(float))
    width = 2 * distance_transform_edt(dark)[tuple(points.T)] * FINE
    away, at = cKDTree(true.centre).query(place)
    keep = (away < 0.3) & (true.z[at] > 1.5) & (true.z[at] < true.length - 1.5)
    return place[keep], width[keep]


def _beside_distance_transform() -> float:
    place, width = _skeleton()
    found = _clean()[2]
    _, at = cKDTree(found.lumen.centre).query(place)
    return float(np.median(found.lumen.minor[at] - width))


def _beside_skeleton() -> float:
    place, _ = _skeleton()
    away, _ = cKDTree(_clean()[2].lumen.centre).query(place)
    return float(np.median(away))


def _incisor(of: str) -> float:
    scan, truth = incisor()
    found = trace(scan, truth[-1, :3], truth[1, :3])
    _, at = cKDTree(found.lumen.centre).query(truth[1:-1, :3])
    if of == "width":
        off = found.lumen.minor[at] - truth[1:-1, 3]
    else:
        off = np.sqrt(4 / np.pi * found.lumen.area[at]) - np.sqrt(4 / np.pi * truth[1:-1, 4])
    return float(np.sqrt(np.mean(off**2)))


def _beside_general_reader() -> float:
    """Greatest distance between the corners of the real series as we and as SimpleITK (GDCM) place them."""
    folder = DATA / "dicom_general" / "CT5N"
    reader = SimpleITK.ImageSeriesReader()
    reader.SetFileNames(reader.GetGDCMSeriesFileNames(str(folder)))
    image = reader.Execute()
    scan = read_scan(folder)
    corners = [(0, 0, 0), (15, 0, 0), (0, 15, 0), (0, 0, 4), (15, 15, 4)]
    ours = scan.to_patient(np.array(corners, dtype=float))
    theirs = np.array([image.TransformIndexToPhysicalPoint(c) for c in corners])
    greys = np.abs(SimpleITK.GetArrayFromImage(image) - scan.array).max()
    return float(np.abs(ours - theirs).max() + greys)


CHECKS = [
    Check(
        "imaging", "blurred disc at its centre, radius 0.15, spread 0.12 mm", _disc_at_centre,
        1 - float(np.exp(-(0.15**2) / (2 * 0.12**2))), 1e-6, "rule of the quadrature converges fast", "",
        "integral of a Gaussian over a disc", "closed form",
    ),
    Check(
        "imaging", "traced least width less twice the distance transform, median", _beside_distance_transform,
        0.0, FINE, "the distance transform knows the edge to about a voxel", "mm",
        "SciPy distance transform on the scikit-image skeleton", "reference library",
        "clean phantom, voxel 0.1 mm, middle of the canal",
    ),
    Check(
        "imaging", "distance of the skeleton from the traced centreline, median", _beside_skeleton,
        0.0, FINE, "a skeleton runs on voxel centres", "mm",
        "scikit-image skeleton", "reference library", "clean phantom, voxel 0.1 mm, middle of the canal",
    ),
]  # fmt: skip

LACKS = [name for name in ("incisor_meshes", "dicom_general") if not (DATA / name).exists()]
"""Real data that is not at hand: its rows are left out."""

if "incisor_meshes" not in LACKS:
    CHECKS += [
        Check(
            "imaging", "real incisor seen at 0.15 mm voxels: least width of its sections, root mean square difference",
            lambda: _incisor("width"), 0.0, 0.05, "a third of a voxel; sections are not ellipses", "mm", UPPER, "open data",
            "0.5 to 8 mm from the apical end; blur 0.12 mm, noise 60 on 1,700; synthetic scan of a real shape",
        ),
        Check(
            "imaging", "real incisor seen at 0.15 mm voxels: mean diameter of its sections, root mean square difference",
            lambda: _incisor("area"), 0.0, 0.0375, "a quarter of a voxel", "mm", UPPER, "open data",
            "0.5 to 8 mm from the apical end; blur 0.12 mm, noise 60 on 1,700; synthetic scan of a real shape",
        ),
    ]  # fmt: skip

if "dicom_general" not in LACKS:
    CHECKS.append(
        Check(
            "imaging",
            "real CT series: place of its corners and greys beside a general-purpose reader",
            _beside_general_reader,
            0.0,
            1e-3,
            "rounding of decimal strings",
            "mm",
            "DICOM PS3.3 C.7.6.2.1.1 as read by SimpleITK (GDCM)",
            "reference library",
            "5 slices, stored unsorted",
        )
    )
