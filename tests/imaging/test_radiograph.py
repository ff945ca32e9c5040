"""Radiograph geometry: similar triangles in closed form, projection against them, intervals that cover."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.imaging.errors import ScanError
from canalwright.imaging.radiograph import image as film
from canalwright.imaging.radiograph import parallax

FOCUS = (0.0, 0.0, 300.0)


def test_proportion():
    """File 20.0 mm shows 22.0; tooth shows 24.2: true 22.0 mm (textbook proportion)."""
    scale = film.scale_from_known([[0, 0], [0, 220]], 20.0)
    assert scale.length([[5, 0], [5, 242]]).value == pytest.approx(22.0)


@given(st.floats(1, 60), st.floats(5, 20), st.floats(-15, 15))
def test_projection_magnifies_a_plane(d, size, x):
    """A line in a plane parallel to the receptor shows M times as long, wherever it lies."""
    shown = film.project([[x, 0, d], [x + size, 0, d]], FOCUS)
    assert np.linalg.norm(shown[1] - shown[0]) == pytest.approx(size * film.magnification(300, d), rel=1e-9)


@given(st.floats(0, 60), st.floats(5, 60))
def test_tilt_is_found_again(tilt, d):
    """A short line tilted out of the plane shows M cos(t): `tilt_from_known` undoes it (to the line's own size)."""
    t, size = np.radians(tilt), 0.01
    shown = film.project([[0, 0, d], [size * np.cos(t), 0, d + size * np.sin(t)]], FOCUS)
    length = float(np.linalg.norm(shown[1] - shown[0]))
    assert film.tilt_from_known(size, length, film.magnification(300, d)) == pytest.approx(tilt, abs=1.0)


def test_one_plane_one_tilt_cancels():
    """Instrument and tooth with one tilt: the proportion is exact for a far focus, whatever the tilt."""
    for tilt in np.radians([0, 10, 30]):
        along = np.array([np.cos(tilt), 0, np.sin(tilt)])
        ends = np.array([0.0, 20.0, 22.0])[:, None] * along + [0, 0, 5]
        shown = film.project(ends, (0.0, 0.0, 1e6))
        scale = film.scale_from_known(shown[:2] * 100, 20.0)
        assert scale.length(shown[[0, 2]] * 100).value == pytest.approx(22.0, abs=0.01)


def test_stated_interval_of_a_length_covers():
    """400 simulated films with the stated marking and stop errors: 90 % hold the true length (3 counting errors)."""
    rng = np.random.default_rng(4)
    held = 0
    for _ in range(400):
        per_mm = 20.0
        read = 20.0 + rng.normal(0, 0.25)
        marks = np.array([[0.0, 0.0], [0.0, 20.0 * per_mm]]) + rng.normal(0, 1.5, (2, 2))
        tooth = np.array([[9.0, 0.0], [9.0, 22.0 * per_mm]]) + rng.normal(0, 1.5, (2, 2))
        found = film.scale_from_known(marks, read, tilt=0.0).length(tooth)
        held += found.low <= 22.0 <= found.high
    assert 0.855 <= held / 400 <= 0.945


@given(st.floats(0, 60), st.floats(5, 60), st.floats(-100, 100).filter(lambda b: abs(b) > 1))
def test_height_from_movement(height, gap, tube):
    """The two formulas undo each other and follow from the projection."""
    focus = height + gap + 100
    moved = parallax.movement(height, focus, tube)
    assert parallax.height_from(moved, focus, tube) == pytest.approx(height, abs=1e-9)
    one, two = (film.project([[3, 1, height]], (x, 0, focus))[0, 0] for x in (0.0, tube))
    assert two - one == pytest.approx(moved, abs=1e-6)
    assert moved * tube <= 0  # against the tube


@settings(max_examples=20, deadline=None)
@given(st.floats(-4, 4), st.floats(10, 30))
def test_parallax_rule(apart, angle):
    """What moves with the tube, beside the other, lies lingually (receptor lingual); depth comes back from the projection."""
    height, focus = 8.0, 300.0
    tube = parallax.tube_shift(angle, focus, height)
    pair = np.array([[0.0, 0.0, height], [0.5, 0.0, height + apart]])
    first, second = (np.diff(film.project(pair, (x, 0.0, focus))[:, 0])[0] for x in (0.0, tube))
    # The relative movement at one focus position holds 0.5 mm aside; its own magnification is 2 % of that.
    found = parallax.depth(first, second, angle=angle, mark_error=0.01, angle_error=0.0, height_error=0.0, draws=500)
    assert found.apart.value == pytest.approx(apart, abs=0.1)
    if abs(apart) > 0.3:
        assert found.side == ("buccal" if apart > 0 else "lingual")
        assert (second - first > 0) == (apart < 0)


def test_depth_interval_narrows_with_the_angle():
    """Closed form for marks alone, far focus: z sqrt(2) error / tan(angle)."""
    for angle in (10.0, 30.0):
        found = parallax.depth(
            0.5, 0.2, angle=angle, focus=1e5, mark_error=0.1, angle_error=0.0, height_error=0.0, height=50.0
        )
        assert (found.apart.high - found.apart.low) / 2 == pytest.approx(parallax.spread_of_depth(0.1, angle), rel=0.06)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: film.scale_from_known([[0, 0], [0, 5]], 20.0), "5 pixels"),
        (lambda: film.scale_from_known([[0, 0], [0, 500]], 0.0), "1 to 60 mm"),
        (lambda: film.line_length([[0, 0]]), "2 or more points"),
        (lambda: film.line_length([[0, float("nan")], [1, 1]]), "2 or more points"),
        (lambda: film.scale_from_spacing(20.0), "micrometres"),
        (lambda: parallax.depth(0, 1, angle=2), "5 to 45"),
    ],
)
def test_bad_marks_are_refused_in_words(call, words):
    with pytest.raises(ScanError, match=words):
        call()
