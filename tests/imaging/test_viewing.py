"""What a scan looks like on the page: pictures lie as the patient does, the straightened canal is straight, nothing is copied."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.anatomy.lumen import Lumen
from canalwright.imaging import FoundCanal, Quality, Scan
from canalwright.imaging.viewing.planes import PLANES, Planes, to_picture, tones_of
from canalwright.imaging.viewing.reformat import Line, half_along, likely, long_axis, section, straightened

LAID = {"axial": (0, 1, 2, False), "coronal": (0, 2, 1, True), "sagittal": (1, 2, 0, True)}
"""For each plane: which of (a, b, c) runs to the right, which down or up, which is its number."""


def _turned(order: tuple[int, ...], signs: tuple[int, ...]) -> Scan:
    """A small scan of different greys whose voxel axes lie along the patient's in any order and sense."""
    voxels = np.random.default_rng(0).permutation(5 * 6 * 7).reshape(5, 6, 7).astype(np.int16)
    affine = np.eye(4)
    affine[:3, :3] = np.eye(3)[list(order)] @ np.diag(np.multiply(signs, (0.2, 0.3, 0.4)))
    affine[:3, 3] = (10.0, -4.0, 7.0)
    return Scan(voxels, affine)


@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
@pytest.mark.parametrize("signs", [(1, 1, 1), (-1, 1, -1), (1, -1, -1)])
def test_every_pixel_is_the_voxel_at_its_place(order: tuple[int, ...], signs: tuple[int, ...]) -> None:
    scan = _turned(order, signs)
    planes = Planes(scan, tones_of(scan))
    assert np.all(np.diag(planes.affine[:3, :3]) > 0), "left, back and up are where the numbers grow"
    assert planes.tilt == pytest.approx(0.0, abs=1e-6)
    span = planes.tones.most - planes.tones.least
    for plane in PLANES:
        right, other, number, up = LAID[plane]
        picture = planes.picture(plane, 2)
        assert picture.shape == (planes.shape[other], planes.shape[right])
        index = np.zeros(3)
        index[right], index[number], index[other] = 1, 2, planes.shape[other] - 1 - 3 if up else 3
        place = planes.affine[:3, :3] @ index + planes.affine[:3, 3]
        i, j, k = np.round(scan.to_index(place)).astype(int)
        assert picture[3, 1] / 65535 * span + planes.tones.least == pytest.approx(scan.voxels[k, j, i], abs=0.01)


def test_a_picture_outside_the_stack_is_refused_and_nothing_is_copied() -> None:
    scan = _turned((0, 1, 2), (1, 1, 1))
    planes = Planes(scan, tones_of(scan))
    with pytest.raises(IndexError):
        planes.picture("axial", 5)
    with pytest.raises(IndexError):
        planes.picture("coronal", -1)
    with pytest.raises(KeyError):
        planes.picture("oblique", 0)
    assert np.shares_memory(planes._view, scan.voxels)


@given(st.lists(st.floats(-3000, 9000), min_size=4, max_size=4), st.floats(-2, 2).filter(lambda v: abs(v) > 0.01))
@settings(max_examples=30, deadline=None)
def test_greys_come_back_within_a_step_of_sixteen_bits(values: list[float], slope: float) -> None:
    stored = np.array(values, np.float32).reshape(1, 2, 2)
    scan = Scan(stored, np.eye(4), slope=slope, intercept=5.0)
    tones = tones_of(scan)
    assert tones.least <= tones.most and tones.dark < tones.bright
    greys = stored * np.float32(slope) + np.float32(5.0)
    span = max(tones.most - tones.least, 1e-9)
    back = to_picture(greys, tones).astype(float) / 65535 * span + tones.least
    assert np.allclose(back, greys, atol=span / 65535 + 1e-2)


def _bent() -> tuple[Scan, FoundCanal]:
    """A dark oval canal on an arc of 20 mm radius in bright dentine, 0.6 by 1.2 mm, and its measures."""
    z = np.arange(0.0, 10.01, 0.1)
    angle = z / 20.0
    centre = np.column_stack([20 * (1 - np.cos(angle)), np.zeros_like(z), 20 * np.sin(angle)])
    n = len(z)
    axis = np.tile([0.0, 1.0, 0.0], (n, 1))
    lumen = Lumen(z, np.full(n, 0.6), np.full(n, 1.2), centre, axis, np.full(n, 1.5), np.full(n, np.pi * 0.18))
    zero = np.zeros(n)
    found = FoundCanal(
        "canal 1", lumen, 10.0, 0.6, centre[-1], centre[0], zero + 0.05, zero + 0.1, np.zeros((n, 3)), lumen.minor,
        np.array([0.0, 0.0, 1.0]), Quality(1.0),
    )  # fmt: skip
    step = 0.15
    z3, y3, x3 = np.mgrid[-3:13:step, -3:3:step, -3:6:step]
    points = np.stack([x3, y3, z3], axis=-1)
    about = np.stack([20 - x3, z3], axis=-1)
    across = 20 - np.linalg.norm(about, axis=-1)
    inside = (across / 0.3) ** 2 + (y3 / 0.6) ** 2 <= 1
    affine = np.diag([step, step, step, 1.0])
    affine[:3, 3] = -3.0
    assert points.shape[:3] == inside.shape
    return Scan(np.where(inside, 0.0, 1000.0).astype(np.float32), affine), found


def test_a_bent_canal_comes_out_straight_and_as_wide_as_it_is() -> None:
    """Dark within the measured width at every station, bright beyond it: to the half voxel."""
    scan, found = _bent()
    line = Line.of(found)
    for turn in (0.0, np.pi / 2, 1.0):
        picture = straightened(scan, line, turn, reach=2.0, step=0.05)
        half = half_along(found, line, turn)
        rows = [int(np.argmin(np.abs(line.z - z))) for z in (1.0, 4.0, 8.0)]
        for row in rows:
            dark = float(np.sum(picture[row] < 500) * 0.05)
            assert dark == pytest.approx(2 * half[int(np.argmin(np.abs(found.lumen.z - line.z[row])))], abs=0.15)
    assert abs(float(np.cos(2 * (long_axis(found, line, 5.0) - long_axis(found, line, 2.0)))) - 1) < 1e-3


def test_the_section_across_shows_the_oval_along_its_own_axis() -> None:
    scan, found = _bent()
    line = Line.of(found)
    dark = section(scan, line, 5.0, reach=2.0, step=0.05) < 500
    rows, columns = np.nonzero(dark)
    spread = np.linalg.eigh(np.cov(np.vstack([columns, -rows])))
    way = spread.eigenvectors[:, 1]
    angle = long_axis(found, line, 5.0)
    assert abs(way @ np.array([np.cos(angle), np.sin(angle)])) > 0.99
    assert dark.sum() * 0.05**2 == pytest.approx(np.pi * 0.3 * 0.6, rel=0.12)


def test_beyond_its_ends_the_line_goes_straight_on() -> None:
    _, found = _bent()
    line = Line.of(found)
    steps = np.diff(line.points, axis=0)
    assert np.allclose(np.linalg.norm(steps, axis=1), 0.1, atol=0.005)
    assert np.allclose(np.einsum("ij,ij->i", line.one, line.tangent), 0, atol=1e-9)


def test_an_interval_holds_its_value_and_does_not_go_below_nothing() -> None:
    low, high = likely(np.array([0.05, 1.0, 1.0]), np.array([0.1, 0.1, np.nan]))
    assert low[0] == 0.0 and high[1] - low[1] == pytest.approx(2 * 0.16449, abs=1e-4)
    assert low[2] == high[2] == 1.0
