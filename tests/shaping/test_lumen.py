"""Protects: the shaped lumen, its wall, the strain of the file."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright import shaping
from tests.fit.canals import canal, centreline, lumen


def test_file_wider_than_the_canal_leaves_its_own_cone():
    """Frustum: pi L (D^2 + D d + d^2) / 12; the trapezoid over 0.1 mm is within 1e-4 of it."""
    shaped = shaping.shaped(canal(size=40, taper=0.06, end=0.0, tip=0.05, taper_native=0.0, top=16.0))
    d, big, length = 0.40, 0.40 + 0.06 * 16, 16.0
    assert shaped.volume == pytest.approx(np.pi * length * (big**2 + big * d + d**2) / 12, rel=1e-4)


def test_nothing_is_cut_below_the_end():
    native, shaped = canal(end=1.0).native, shaping.shaped(canal(end=1.0))
    below = native.z < 1.0 - 1e-6
    assert (shaped.minor[below] == native.minor[below]).all()
    assert shaped.minor[~below][0] == pytest.approx(0.30)


def test_measured_area_keeps_its_excess_over_the_ellipse():
    """A native area that was measured stays, plus what the file cut outside the ellipse."""
    plain = canal(oval=2.0)
    larger = plain.with_native(type(plain.native)(**{**vars(plain.native), "area": plain.native.area + 0.05}))
    added = shaping.shaped(larger).area - shaping.shaped(plain).area
    assert np.allclose(added[plain.native.z > 1], 0.05, atol=1e-9)


def test_wall_loses_half_of_what_the_minor_width_gains():
    one = canal(size=40, taper=0.06, wall=1.0, oval=1.6)
    left = shaping.remaining_dentine(one)
    gained = shaping.shaped(one).minor - one.native.minor
    assert np.allclose(left, 1.0 - gained / 2)
    thin = canal(size=80, taper=0.06, wall=0.1)
    assert shaping.remaining_dentine(thin).min() < 0
    assert shaping.shaped(thin).wall.min() == 0


@settings(max_examples=30, deadline=None)
@given(st.sampled_from([25, 30, 40]), st.floats(0.02, 0.08), st.floats(1.0, 3.0), st.floats(0.0, 0.05))
def test_more_taper_never_leaves_more_wall_or_less_room(size, taper, oval, more):
    less, greater = (canal(size=size, taper=t, oval=oval) for t in (taper, taper + more))
    assert (shaping.remaining_dentine(greater) <= shaping.remaining_dentine(less) + 1e-12).all()
    assert (shaping.shaped(greater).area >= shaping.shaped(less).area - 1e-12).all()
    assert shaping.untouched_total(greater) <= shaping.untouched_total(less) + 1e-12


def test_shaped_widths_of_draws_match_one_by_one():
    one = canal()
    z, native = one.native.z, one.native
    offsets = np.array([0.0, -0.02, 0.02])
    minor, major = shaping.shaped_widths(
        z, np.tile(native.minor, (3, 1)), np.tile(native.major, (3, 1)), one.file, one.end, offsets
    )
    for d, offset in enumerate(offsets):
        cut = shaping.envelope(one.file, z, one.end, offset)
        assert np.allclose(minor[d], np.maximum(native.minor, cut))
        assert np.allclose(major[d], np.maximum(native.major, cut))
    with pytest.raises(ValueError, match="last axis is the station"):
        shaping.shaped_widths(z, native.minor[:-1], native.major[:-1], one.file, one.end)


@pytest.mark.parametrize("radius", [3.0, 5.0, 20.0])
def test_curvature_of_an_arc(radius):
    """1 / R, and 0 where the canal is straight."""
    z = np.arange(141) * 0.1
    found = shaping.curvature(z, centreline(z, radius, 10.0))
    assert found[5:20] == pytest.approx(1 / radius, rel=1e-3)
    assert found[60:] == pytest.approx(0, abs=1e-9)


def test_curvature_of_a_stub_is_refused():
    with pytest.raises(ValueError, match="too short"):
        shaping.curvature(np.array([0.0, 0.5]), np.zeros((2, 3)))


def test_file_strain_is_diameter_over_twice_the_radius():
    """d / (2 R): 0.40 mm wide in an arc of 5 mm is 4 %."""
    one = canal(size=40, taper=0.0, radius=5.0, straight=8.0, end=0.0)
    assert shaping.file_strain(one)[10:30] == pytest.approx(0.04, rel=1e-3)


def test_lumen_helper_is_straight_by_default():
    assert np.ptp(lumen().centre[:, 0]) < 1e-3
