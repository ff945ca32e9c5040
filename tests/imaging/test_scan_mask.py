"""A labelled mask leads to the same canal as two clicks; what is no lumen is refused."""

import numpy as np
import pytest
from scipy.spatial import cKDTree

from canalwright.imaging import Scan, ScanError, trace_mask
from tests.imaging.scans import matched, phantom, scan_of

VOXEL = 0.2


def labels(seed: int = 1) -> Scan:
    """The true lumen painted as 1, dentine as 2, as a careful hand would."""
    scan, true = scan_of(seed), phantom(seed).truth[0]
    nz, ny, nx = scan.shape
    k, j, i = (a.ravel() for a in np.mgrid[0:nz, 0:ny, 0:nx])
    points = scan.to_patient(np.column_stack([i, j, k]).astype(float))
    away, at = cKDTree(true.centre).query(points)
    width = np.sqrt(true.minor * true.major)[at] / 2
    painted = np.where(phantom(seed).root.level(points) < 0, 2, 0)
    painted[(away < np.maximum(width, 0.6 * VOXEL)) & (at > 0) & (at < len(true.z) - 1)] = 1
    return Scan(painted.reshape(scan.shape).astype(np.uint8), scan.affine)


def test_mask_with_greys_is_as_fine_as_two_clicks() -> None:
    found, true = trace_mask(labels(), 1, scan=scan_of(1)), phantom(1).truth[0]
    mine, theirs = matched(found, true)
    assert abs(found.length - true.length) < 0.35, "the mask's own end decides where the orifice is"
    assert np.sqrt(np.mean((found.lumen.minor[theirs] - true.minor[mine]) ** 2)) < 0.2 * VOXEL


def test_mask_alone_is_good_to_its_voxels_and_says_so() -> None:
    found, true = trace_mask(labels(), 1, root=2), phantom(1).truth[0]
    mine, theirs = matched(found, true)
    mean = np.sqrt(true.minor * true.major)[mine]
    assert np.median(np.abs(np.sqrt(found.lumen.minor * found.lumen.major)[theirs] - mean)) < VOXEL
    assert found.width_error.min() >= 0.5 * VOXEL
    assert "measured from a mask: no finer than its voxels" in found.notes


@pytest.mark.parametrize(
    ("change", "say"),
    [
        ({"lumen": 7}, "label 7 is not in the mask"),
        ({"scan": None, "root": None}, "neither greys nor a root label"),
    ],
)
def test_labels_that_do_not_fit_are_refused(change: dict[str, object], say: str) -> None:
    arguments = {"lumen": 1, "scan": scan_of(1), "root": None} | change
    lumen = arguments.pop("lumen")
    with pytest.raises(ScanError, match=say):
        trace_mask(labels(), lumen, **arguments)  # type: ignore[arg-type]


def test_mask_in_pieces_or_on_another_grid_is_refused() -> None:
    mask = labels()
    split = np.array(mask.voxels)
    split[36:40] = np.where(split[36:40] == 1, 0, split[36:40])
    with pytest.raises(ScanError, match=r"label 1 lies in \d pieces"):
        trace_mask(Scan(split, mask.affine), 1, scan=scan_of(1))
    with pytest.raises(ScanError, match="differs from the scan's"):
        trace_mask(Scan(mask.voxels[:-1], mask.affine), 1, scan=scan_of(1))
