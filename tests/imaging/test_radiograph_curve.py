"""Angles of a curve from marks: closed forms of arcs, what the definitions say of each other, intervals that cover."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.anatomy import Canal, Curve, Measured
from canalwright.imaging.errors import ScanError
from canalwright.imaging.radiograph.curve import curve_of, pruett, schneider
from canalwright.imaging.radiograph.image import Scale, magnification, project

SCALE = Scale(0.05, 0.0, "test")


def _canal(
    straight: float, radius: float, angle: float, rest: float, count: int = 14, turned: float = 0.3
) -> np.ndarray:
    """Marks in pixels along line, arc and line; angle in degrees."""
    a = np.radians(angle)
    s = np.linspace(0, straight + radius * a + rest, count)
    t = np.clip((s - straight) / radius, 0, a)
    after = np.maximum(s - straight - radius * a, 0)
    x = radius * (1 - np.cos(t)) + after * np.sin(a)
    y = np.minimum(s, straight) + radius * np.sin(t) + after * np.cos(a)
    c, d = np.cos(turned), np.sin(turned)
    return np.column_stack([c * x - d * y, d * x + c * y]) / SCALE.value + 100


@settings(max_examples=15, deadline=None)
@given(st.floats(2, 8), st.floats(4, 12), st.floats(20, 70), st.floats(-3, 3))
def test_an_arc_to_the_foramen(straight, radius, angle, turned):
    """Arc geometry: Schneider is half of Weine and Pruett, length of the arc radius x angle."""
    found = curve_of(_canal(straight, radius, angle, 0.0, 24, turned), SCALE, draws=0)
    assert found.pruett.value == pytest.approx(angle, abs=1.5)
    assert found.schneider.value == pytest.approx(angle / 2, abs=1.0)
    assert found.radius.value == pytest.approx(radius, rel=0.06)
    assert found.start.value == pytest.approx(radius * np.radians(angle), rel=0.06)
    assert found.weine == found.pruett


def test_a_straight_end_brings_schneider_nearer_to_weine():
    """The longer the straight part beyond the arc, the nearer the two angles; Weine never the smaller."""
    angles = [curve_of(_canal(5, 6, 40, rest, 24), SCALE, draws=0) for rest in (0.0, 2.0, 6.0)]
    by_schneider = [a.schneider.value for a in angles]
    assert by_schneider == sorted(by_schneider)
    assert all(a.schneider.value <= a.weine.value + 1e-6 for a in angles)


def test_marks_by_hand():
    """Three and four marks on an arc of 60 degrees and 5 mm: 30 and 60 degrees, 5 mm."""
    r, a = 5.0, np.radians(60)
    foramen = (r * (1 - np.cos(a)), r * np.sin(a))
    assert schneider((0, -5), (0, 0), foramen) == pytest.approx(30)
    beyond = (foramen[0] + np.sin(a), foramen[1] + np.cos(a))
    assert pruett((0, -5), (0, 0), foramen, beyond) == (pytest.approx(60), pytest.approx(5))
    assert pruett((0, 0), (0, 1), (0, 2), (0, 3)) == (0.0, float("inf"))


def test_a_straight_canal_has_no_radius_to_speak_of():
    found = curve_of(_canal(10, 1e6, 1e-7, 5.0), SCALE, draws=20)
    assert found.straight and found.schneider.value < 2
    assert found.length.value == pytest.approx(15, rel=0.01)


def test_stated_intervals_cover():
    """30 canals marked with the stated error: the 5-95 % interval of Pruett's angle holds the truth in about 90 %."""
    rng = np.random.default_rng(8)
    held = 0
    for _ in range(30):
        marks = _canal(6, 7, 40, 2.0) + rng.normal(0, 1.5, (14, 2))
        found = curve_of(marks, SCALE, draws=24, seed=int(rng.integers(1e6)))
        held += found.pruett.low <= 40 <= found.pruett.high
    assert held / 30 >= 0.73


@pytest.mark.parametrize(
    ("marks", "words"),
    [([[0, 0], [1, 1]], "6 or more"), ([[0, 0], [0, 9], [0, 5], [0, 12], [0, 20], [0, 30]], "turning back")],
)
def test_bad_marks_are_refused(marks, words):
    with pytest.raises(ScanError, match=words):
        curve_of(marks, SCALE)
    with pytest.raises(ScanError, match="one point"):
        schneider((0, 0), (0, 0), (1, 1))


@pytest.mark.parametrize(("angle", "radius"), [(15.0, None), (25.0, 8.0), (30.0, 6.0)])
def test_a_canal_built_from_an_angle_shows_that_angle_on_its_film(angle, radius):
    """From the canal's own centreline through the projection to the marks and back: Schneider's angle comes out again."""
    bend = Curve(Measured(angle), Measured(radius) if radius else None)
    one = Canal.from_measurements(tooth=46, canal="MB", working_length=20.5, finishing_file=(30, 0.04), curve=bend)
    places = np.linspace(one.native.z[-1], 0.0, 16)
    x, y, z = (np.interp(places, one.native.z, one.native.centre[:, k]) for k in range(3))
    shown = project(np.column_stack([x, z, 8.0 + y]), (0.0, 6.0, 300.0))
    scale = Scale(0.05 / magnification(300, 8), 0.0, "closed form")
    found = curve_of(shown / 0.05, scale, draws=0)
    assert found.schneider.value == pytest.approx(angle, abs=1.0)
    assert found.length.value == pytest.approx(one.native.z[-1], rel=0.01)
    if radius:
        assert found.radius.value == pytest.approx(radius, rel=0.08)
