"""A canal that the scan does not show is refused or marked: never made up."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from canalwright.imaging import Scan, ScanError, trace
from canalwright.imaging.phantom.scan import Phantom, Scanner, render
from tests.imaging.scans import phantom, scan_of

SIDE = np.array([1.0, 0.0, 0.0])


def clicks() -> tuple[np.ndarray, np.ndarray]:
    true = phantom(3).truth[0]
    return true.orifice, true.centre[2]


def test_points_outside_the_volume_name_the_point_and_the_volume() -> None:
    orifice, terminus = clicks()
    with pytest.raises(
        ScanError, match=r"the point \(0\.\d+, .*\) lies outside the volume; allowed: from \(.*\) to \("
    ):
        trace(scan_of(3), orifice, terminus - [0, 0, 9.0])
    with pytest.raises(ScanError, match=r"orifice .*; allowed: three numbers, LPS mm; pick it again"):
        trace(scan_of(3), (1.0, np.nan, 2.0), terminus)


@pytest.mark.parametrize("aside", [0.9, 3.2])
def test_an_orifice_in_dentine_or_bone_is_refused(aside: float) -> None:
    orifice, terminus = clicks()
    with pytest.raises(ScanError, match=r"no dark lumen|not in a lumen with dentine round it"):
        trace(scan_of(3), orifice + aside * SIDE, terminus)


def test_both_points_outside_the_root_are_refused() -> None:
    orifice, terminus = clicks()
    with pytest.raises(ScanError, match=r"pick it again|pick the points again"):
        trace(scan_of(3), orifice + 3.2 * SIDE, terminus + 3.5 * SIDE)


@pytest.mark.parametrize("seed", [0, 1])
def test_a_root_without_a_canal_has_none(seed: int) -> None:
    """The same root, solid: two points in it lead to no canal."""
    orifice, terminus = clicks()
    whole = phantom(3)
    solid = Phantom(whole.root, (), whole.truth, whole.ligament, whole.greys)
    with pytest.raises(ScanError):
        trace(render(solid, Scanner(voxel=0.3, blur=0.24, oversample=2), seed), orifice, terminus)


@pytest.mark.parametrize("kind", ["noise", "clouds", "even", "metal"])
def test_what_is_no_tooth_is_refused(kind: str) -> None:
    orifice, terminus = clicks()
    scan, rng = scan_of(3), np.random.default_rng(4)
    if kind == "noise":
        grey = rng.normal(800, 300, scan.shape)
    elif kind == "clouds":
        grey = gaussian_filter(rng.normal(800, 3000, scan.shape), 2)
    elif kind == "even":
        grey = np.full(scan.shape, 7.0)
    else:
        grey = np.where(gaussian_filter(rng.normal(size=scan.shape), 1.5) > 0.03, 8000.0, scan.voxels)
    with pytest.raises(ScanError):
        trace(replace(scan, voxels=grey.astype(np.float32)), orifice, terminus)


@pytest.mark.parametrize(
    ("factor", "say"),
    [
        (10.0, r"orifice and terminus are 10\d\.\d+ mm apart; allowed: 3 to 35 mm"),
        (0.1, "mm apart; allowed: 3 to 35 mm"),
        (4.0, "mm apart|too coarse|voxel size"),
    ],
)
def test_a_wrong_voxel_size_is_caught(factor: float, say: str) -> None:
    orifice, terminus = clicks()
    affine = scan_of(3).affine.copy()
    affine[:3] *= factor
    with pytest.raises(ScanError, match=say):
        trace(replace(scan_of(3), affine=affine), orifice * factor, terminus * factor)


def test_a_voxel_size_of_half_is_no_good_trace() -> None:
    orifice, terminus = clicks()
    affine = scan_of(3).affine.copy()
    affine[:3] *= 0.5
    try:
        assert trace(replace(scan_of(3), affine=affine), orifice * 0.5, terminus * 0.5).quality.score < 0.5
    except ScanError as error:
        assert "no canal" in str(error) or "dentine" in str(error) or "lumen" in str(error)


def test_a_canal_that_stops_half_way_is_not_carried_on_in_silence() -> None:
    """The apical 4 mm are filled with dentine: refused, or marked as hardly seen just there."""
    orifice, terminus = clicks()
    scan, true = scan_of(3), phantom(3).truth[0]
    nz, ny, nx = scan.shape
    k, j, i = np.mgrid[0:nz, 0:ny, 0:nx]
    points = scan.to_patient(np.stack([i, j, k], axis=-1).astype(float))
    axis = true.centre[:40].mean(0)
    near = (points[..., 2] < true.centre[40, 2]) & (np.linalg.norm((points - axis)[..., :2], axis=-1) < 0.8)
    grey = np.where(near & (scan.voxels < 1650), 1700 + np.random.default_rng(0).normal(0, 60, scan.shape), scan.voxels)
    try:
        found = trace(Scan(grey.astype(np.float32), scan.affine), orifice, terminus)
    except ScanError:
        return
    assert found.quality.score < 0.75
    assert any("hardly seen" in reason for reason in found.quality.reasons)


def test_swapped_points_and_a_canal_that_goes_on_are_marked() -> None:
    orifice, terminus = clicks()
    swapped = trace(scan_of(3), terminus, orifice)
    assert swapped.quality.score < 0.4
    assert any("are the two points swapped" in reason for reason in swapped.quality.reasons)
    short = trace(scan_of(3), orifice, phantom(3).truth[0].centre[40])
    assert any("the canal may go on" in reason for reason in short.quality.reasons)
    assert any("it ends at the point that was given" in note for note in short.notes)


def test_streaks_and_strong_noise_lower_the_score_or_widen_the_errors() -> None:
    orifice, terminus = clicks()
    scanner = Scanner(voxel=0.2, blur=0.16, noise=180.0, oversample=2)
    noisy = trace(render(phantom(3), scanner, 0, margin=1.0), orifice, terminus)
    clean = trace(scan_of(3), orifice, terminus)
    assert np.median(noisy.width_error) > 1.8 * np.median(clean.width_error)
    assert noisy.quality.score < clean.quality.score
