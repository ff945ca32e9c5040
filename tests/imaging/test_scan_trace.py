"""The traced canal is the true one: widths finer than a voxel, wall, length and course, each within its stated error."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

from canalwright.imaging import Quality, trace
from canalwright.imaging.phantom.scan import CanalShape, RootShape, Scanner, make, render
from canalwright.imaging.tracing.block import take
from canalwright.imaging.tracing.blurred_ellipse import blurred, share
from canalwright.imaging.tracing.path import find_path
from canalwright.imaging.tracing.quality import doubted_as
from tests.imaging.scans import matched, phantom, scan_of, traced

SEEDS = (0, 1, 2, 3)


@pytest.mark.parametrize("seed", SEEDS)
def test_width_error_stays_under_a_quarter_of_a_voxel(seed: int) -> None:
    """Canals of 0.2-0.4 mm at the end (1 to 2 voxels of 0.2 mm), noise a thirtieth of the contrast."""
    found, true = traced(seed), phantom(seed).truth[0]
    mine, theirs = matched(found, true)
    off = found.lumen.minor[theirs] - true.minor[mine]
    assert np.sqrt(np.mean(off**2)) < 0.15 * 0.2
    assert np.abs(off).max() < 0.25 * 0.2 + 2 * found.width_error.max()
    assert np.abs(off)[true.minor[mine] > 0.3].max() < 0.3 * 0.2
    assert np.sqrt(np.mean((found.lumen.major[theirs] - true.major[mine]) ** 2)) < 0.25 * 0.2


@pytest.mark.parametrize("seed", SEEDS)
def test_length_course_and_wall(seed: int) -> None:
    """Length within 0.2 mm, course within 0.08 mm, wall within 0.15 mm everywhere; the end is found, not clicked."""
    found, true = traced(seed), phantom(seed).truth[0]
    mine, theirs = matched(found, true)
    assert abs(found.length - true.length) < 0.2
    assert found.length_error < 0.15
    assert np.linalg.norm(found.terminus - true.terminus) < 0.12
    assert np.linalg.norm(found.lumen.centre[theirs] - true.centre[mine], axis=1).max() < 0.08
    assert np.abs(found.lumen.wall[theirs] - true.wall[mine]).max() < 0.15
    assert found.quality.score > 0.8


def test_stated_errors_are_neither_hopeful_nor_empty() -> None:
    """Over all stations of four phantoms, 90 % intervals hold 80 to 100 % (the study over 100 is in docs/models)."""
    held = []
    for seed in SEEDS:
        found, true = traced(seed), phantom(seed).truth[0]
        mine, theirs = matched(found, true)
        off = np.abs(found.lumen.minor[theirs] - true.minor[mine])
        held.append(np.mean(off < 1.645 * found.width_error[theirs]))
        assert found.width_error.max() < 0.12
    assert 0.8 <= np.mean(held) <= 1.0


def test_long_axis_and_thinnest_wall_point_where_they_should() -> None:
    """An oval canal near one side of a straight root: axis along y, thinnest wall towards +x."""
    shape = CanalShape(apical=0.4, taper=0.05, ratio=(2.0, 2.0), turn=0.0, aside=(0.5, 0.0), bend=0.0)
    made = make((shape,), RootShape(height=8.0))
    true = made.truth[0]
    scan = render(made, Scanner(voxel=0.2, blur=0.16, noise=40, oversample=3), 1, margin=1.0)
    found = trace(scan, true.orifice, true.terminus)
    middle = slice(15, found.lumen.size - 10)
    across = np.abs(np.sum(found.lumen.axis[middle] * true.axis[20], axis=1))
    assert across.min() > 0.95
    assert np.median(found.wall_direction[middle] @ [1.0, 0, 0]) > 0.9


def test_an_end_far_from_where_it_was_pointed_at_is_doubted() -> None:
    """1.2 mm above the end: the trace goes on to the root's surface, and says how far that was."""
    true = phantom(1).truth[0]
    found = trace(scan_of(1), true.orifice, true.centre[12])
    assert np.linalg.norm(found.terminus - true.terminus) < 0.15
    assert found.quality.score < 0.6
    assert "1.2 mm from the point that was given" in found.quality.reasons[-1]
    found = trace(scan_of(1), true.orifice, true.centre[12], guessed=True)
    assert found.quality.score == pytest.approx(0.7, abs=0.05), "nobody pointed at it, yet the pulp seemed to end there"
    assert "1.2 mm from where its way through the pulp led" in found.quality.reasons[-1]
    assert doubted_as(Quality(1.0), found.quality).score == pytest.approx(0.7)


def test_the_grid_does_not_matter() -> None:
    """The same canal on voxels of 0.16 x 0.16 x 0.24 mm, turned 20 degrees: same length, same widths."""
    true = phantom(1).truth[0]
    fine = render(phantom(1), Scanner(voxel=0.08, blur=0.16, noise=60, oversample=1, tilt=(20.0, 10.0)), 9, margin=1.0)
    nz, ny, nx = (n // 12 * 12 for n in fine.shape)
    voxels = fine.array[:nz, :ny, :nx].reshape(nz // 3, 3, ny // 2, 2, nx // 2, 2).mean(axis=(1, 3, 5))
    affine = fine.affine.copy()
    affine[:3, 3] = fine.to_patient(np.array([0.5, 0.5, 1.0]))
    affine[:3, :3] = affine[:3, :3] * [2, 2, 3]
    found = trace(type(fine)(voxels, affine), true.orifice, true.centre[2])
    mine, theirs = matched(found, true)
    assert abs(found.length - true.length) < 0.2
    assert np.sqrt(np.mean((found.lumen.minor[theirs] - true.minor[mine]) ** 2)) < 0.04


@settings(max_examples=25, deadline=None)
@example(long=0.7999999999999999, ratio=1.0, angle=0.0, spread=0.08)
@given(
    long=st.floats(0.05, 0.8),
    ratio=st.floats(0.2, 1.0),
    angle=st.floats(-3.0, 3.0),
    spread=st.floats(0.08, 0.25),
)
def test_blurred_ellipse_is_the_ellipse_blurred(long: float, ratio: float, angle: float, spread: float) -> None:
    """Against the ellipse drawn finely and filtered; its integral is its area; it turns with its angle."""
    short = long * ratio
    step = 0.02
    x = np.arange(-2.2, 2.2, step)
    xx, yy = (a.ravel() for a in np.meshgrid(x, x, indexing="ij"))
    ours = blurred(xx, yy, *(np.float64(v) for v in (long, short, angle)), spread)[:, 0]
    assert ours.sum() * step**2 == pytest.approx(np.pi * long * short, rel=1e-3)
    drawn = np.zeros((len(x), len(x)))
    for a in (np.arange(8) + 0.5) / 8 - 0.5:
        for b in (np.arange(8) + 0.5) / 8 - 0.5:
            p = np.cos(angle) * (xx + a * step) + np.sin(angle) * (yy + b * step)
            q = -np.sin(angle) * (xx + a * step) + np.cos(angle) * (yy + b * step)
            drawn += ((p / long) ** 2 + (q / short) ** 2 < 1).reshape(drawn.shape) / 64
    assert np.allclose(share(xx, yy, *(np.float64(v) for v in (long, short, angle)), spread), ours, atol=1e-12)
    theirs = gaussian_filter(drawn, spread / step, truncate=6)
    assert np.abs(ours.reshape(theirs.shape) - theirs).max() < 0.01


def test_scan_of_the_real_upper_incisor_gives_the_widths_of_its_mesh() -> None:
    """Root half of the incisor mesh at 0.15 mm voxels: 0.25-0.36 mm wide over its last 3 mm, the hard case."""
    from tests.imaging.real_scans import incisor

    scan, truth = incisor()
    found = trace(scan, truth[-1, :3], truth[1, :3])
    for x, y, z, least, area in truth[1:-1]:
        i = int(np.argmin(np.linalg.norm(found.lumen.centre - [x, y, z], axis=1)))
        assert np.linalg.norm(found.lumen.centre[i] - [x, y, z]) < 0.15
        assert found.lumen.minor[i] == pytest.approx(least, abs=0.5 * 0.15)
        assert np.sqrt(found.lumen.area[i]) == pytest.approx(np.sqrt(area), abs=0.25 * 0.15)


@pytest.mark.parametrize(
    ("mouth", "flare", "half", "tip"),
    [(3.0, 1.0, (1.0, 1.2), None), (2.5, 1.2, (0.9, 1.1), None), (3.0, 0.8, (0.8, 1.0), 3.0)],
)
def test_a_canal_that_opens_like_a_funnel_ends_at_its_rim(
    mouth: float, flare: float, half: tuple[float, float], tip: float | None
) -> None:
    """What the foramen opens to is the outside: filled up as lumen it put the end 0.2 mm and more into the bone, without a doubt. Of a root
    that ends in a thin-walled tube (`tip`) the rim lies above where its surface would close."""
    shape = CanalShape(taper=0.04, ratio=(1.5, 1.5), turn=0.0, aside=(0.0, 0.0), bend=0.0, mouth=mouth, flare=flare)
    made = make((shape,), RootShape(height=7.0, half=half, tip=tip))
    true = made.truth[0]
    found = trace(render(made, Scanner(voxel=0.2, blur=0.16, oversample=3), 1), true.orifice, true.centre[2])
    assert -0.15 < found.length - true.length < 0.1
    assert abs(found.length - true.length) < 1.645 * found.length_error
    assert found.foramen < true.minor[0] + 0.2


def test_between_two_points_a_faint_canal_is_not_left_for_the_edge_of_a_thin_root() -> None:
    """A canal of 0.08 to 0.5 mm in a root 1.2 mm thick, voxels of 0.2 mm: the blurred edge beside the ligament is darker than it."""
    shape = CanalShape(apical=0.08, taper=0.04, ratio=(1.2, 1.8), turn=0.0, aside=(0.0, 0.0), curved=6.0, towards=0.0)
    made = make((shape,), RootShape(height=11.0, half=(0.6, 1.3)))
    true = made.truth[0]
    scan = render(made, Scanner(voxel=0.2, blur=0.16, noise=60, oversample=3), 2, margin=1.0)
    orifice, terminus = true.orifice, true.centre[3]
    points, _ = find_path(take(scan, np.array([orifice, terminus]), 4.0), orifice, terminus)
    away, _ = cKDTree(points).query(true.centre[5:-5])
    assert away.max() < 0.3
