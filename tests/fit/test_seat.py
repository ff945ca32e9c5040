"""Protects: the seat of a cone, its grip and its trim, against closed forms and a look at every corner."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright import fit
from canalwright.fit import _seat
from canalwright.instruments import Profile

Z = np.arange(131) * 0.1
QUICK = settings(max_examples=60, deadline=None)


@st.composite
def lumens(draw):
    """Bumpy lumens that mostly widen coronally."""
    seed = draw(st.integers(0, 2**32 - 1))
    rng = np.random.default_rng(seed)
    knots = np.linspace(0, 13, 8)
    widths = rng.uniform(0.15, 0.4) + rng.uniform(0.0, 0.08) * knots + rng.normal(0, 0.05, 8)
    return np.interp(Z, knots, np.maximum(widths, 0.1))


@st.composite
def cones(draw):
    tip, taper = draw(st.floats(0.15, 0.5)), draw(st.floats(0.005, 0.1))
    return Profile.uniform(tip, taper, draw(st.floats(4, 16)))


def overlap(cone, minor, tip):
    """Greatest excess of the cone over the lumen with its tip at `tip`, at every corner of either outline."""
    corners = np.concatenate([Z, tip + np.array(cone.at)])
    corners = corners[(corners >= max(tip, 0.0) - 1e-12) & (corners <= 13)]
    return np.max(cone(corners - tip) - np.interp(corners, Z, minor), initial=-1.0)


@settings(max_examples=200, deadline=None)
@given(lumens(), cones())
def test_seat_is_free_and_anything_deeper_is_not(minor, cone):
    """Both outlines are straight between corners, so looking at the corners is enough. A tip at the orifice is outside."""
    found = fit.seat(cone, Z, minor)[0]
    if found < 13:
        assert overlap(cone, minor, found) <= 1e-9
    for deeper in (1e-6, 0.01, 0.5):
        if found > fit.BEYOND:
            assert overlap(cone, minor, found - deeper) > 0


def test_cone_less_tapered_than_the_lumen_is_held_at_its_tip():
    """Tip d in a lumen D + T z: z = (d - D) / T; an error e of diameter moves it by e / T."""
    offsets = np.array([0.0, 0.03, -0.03])
    found = fit.seat(Profile.uniform(0.40, 0.02), Z, 0.25 + 0.05 * Z, offset=offsets)
    assert found == pytest.approx((0.40 + offsets - 0.25) / 0.05, abs=1e-9)


def test_cone_more_tapered_than_the_lumen_is_held_at_the_orifice():
    """d + t (top - z) = D + T top."""
    found = fit.seat(Profile.uniform(0.25, 0.06), Z, 0.30 + 0.03 * Z)[0]
    assert found == pytest.approx(13 - (0.30 + 0.03 * 13 - 0.25) / 0.06, abs=1e-9)
    grip = fit.tug_back(Profile.uniform(0.25, 0.06), Z, 0.30 + 0.03 * Z, found)[0]
    assert grip == pytest.approx(0.03 / (0.06 - 0.03), abs=1e-9)


def test_nearly_parallel_cone_moves_far_for_little():
    """Seat error = diameter error / difference of tapers: 0.02 mm over 0.005 is 4 mm."""
    minor = 0.30 + 0.040 * Z
    nominal, wider = fit.seat(Profile.uniform(0.22, 0.045), Z, minor, offset=np.array([0.0, 0.02]))
    assert wider - nominal == pytest.approx(0.02 / 0.045, abs=1e-6)  # both held at the orifice
    held = fit.seat(Profile.uniform(0.30, 0.035, 16), Z, minor, offset=np.array([0.0, 0.02]))
    assert held[1] - held[0] == pytest.approx(0.02 / 0.040, abs=1e-6)  # both held at the tip


def test_same_taper_seats_at_the_end_and_an_error_lets_it_through():
    """A parallel match: exact it touches everywhere; 0.01 mm thinner it is stopped by nothing but the shoulder."""
    minor = 0.30 + 0.04 * Z
    found = fit.seat(Profile.uniform(0.30, 0.04), Z, minor, offset=np.array([0.0, -0.01, 0.01]))
    assert found == pytest.approx([0.0, -0.25, 0.25], abs=1e-9)
    shoulder = np.where(Z < 0.5 - 1e-9, 0.2, 0.30 + 0.04 * (Z - 0.5))
    stopped = fit.seat(Profile.uniform(0.30, 0.04), Z, shoulder, offset=np.array([0.0, -0.02]))
    assert stopped == pytest.approx([0.5, 0.48], abs=1e-9)


def test_loose_right_through_is_said_so():
    seats = fit.seat(Profile((0.0,), (0.2,)), Z, np.full(131, 0.5))
    assert (seats == fit.BEYOND).all()
    assert (fit.tug_back(Profile((0.0,), (0.2,)), Z, np.full(131, 0.5), seats) == 0).all()
    assert fit.chance(seats, 0.5) == 0


def test_too_wide_to_enter_stays_at_the_orifice():
    assert fit.seat(Profile.uniform(1.0, 0.02), Z, np.full(131, 0.5))[0] == 13.0


def test_a_waist_counts_as_filled():
    """A cone thicker before a waist must have passed with its thick part."""
    waisted, plain = (
        Profile((0.0, 2.0, 4.0, 9.0), (0.3, 0.5, 0.4, 0.9)),
        Profile((0.0, 2.0, 4.0, 9.0), (0.3, 0.5, 0.5, 0.9)),
    )
    minor = 0.30 + 0.03 * Z
    assert fit.seat(waisted, Z, minor) == fit.seat(plain, Z, minor)


@QUICK
@given(lumens(), cones(), st.floats(0, 0.1))
def test_wider_lumen_or_thinner_cone_never_seats_shallower(minor, cone, more):
    assert fit.seat(cone, Z, minor + more)[0] <= fit.seat(cone, Z, minor)[0] + 1e-9
    assert fit.seat(cone, Z, minor, offset=more)[0] >= fit.seat(cone, Z, minor)[0] - 1e-9


@QUICK
@given(lumens(), cones(), st.floats(0, 5), st.floats(0, 3))
def test_trimming_never_deepens_the_tip_nor_raises_it_by_more_than_the_cut(minor, cone, first, more):
    before, after = (fit.seat(cone, Z, minor, trim=t)[0] for t in (first, first + more))
    assert before - 1e-9 <= after
    if before > fit.BEYOND:
        assert after <= before + more + 1e-9


@QUICK
@given(lumens(), cones(), st.floats(0, 3))
def test_trim_is_the_cone_with_its_tip_cut(minor, cone, trim):
    assert fit.seat(cone, Z, minor, trim=trim)[0] == pytest.approx(fit.seat(cone.cut(trim), Z, minor)[0], abs=1e-6)


@QUICK
@given(lumens(), cones())
def test_seated_cone_touches_but_does_not_overlap(minor, cone):
    tip = fit.seat(cone, Z, minor)
    gaps = fit.gap(cone, Z, minor, tip)
    assert np.nanmin(gaps) >= -1e-9 or tip[0] >= 13 - 1e-9
    assert 0 <= fit.tug_back(cone, Z, minor, tip)[0] <= 13 - min(tip[0], 13) + 1e-9 or tip[0] < 0


@pytest.mark.parametrize("tip", [0.53, 0.5, -0.5, 12.95])
def test_the_grip_of_an_even_gap_runs_from_the_tip_to_the_orifice(tip):
    """A gap of 0.02 mm all along; what lies past the terminus is not held by anything, and 0.01 mm more is too wide."""
    grips = fit.tug_back(Profile.uniform(0.30, 0.04), Z, 0.32 + 0.04 * (Z - tip), tip, offset=[0.0, -0.009, -0.011])
    assert grips == pytest.approx([13 - max(tip, 0.0), 13 - max(tip, 0.0), 0.0], abs=1e-9)


@pytest.mark.parametrize(("taper", "tip"), [(0.05, 0.25), (0.34, 0.0), (1.04, 0.0)])
def test_the_grip_of_a_cone_held_at_its_tip_is_where_the_gap_has_opened(taper, tip):
    """The gap opens by the difference of tapers: within / (T - t), wherever the tip stands between two stations."""
    grip = fit.tug_back(Profile.uniform(0.30, 0.04), Z, 0.30 + taper * (Z - tip), tip)[0]
    assert grip == pytest.approx(0.03 / (taper - 0.04), abs=1e-9)


def test_the_grip_follows_a_cone_of_several_tapers():
    """An even gap to a cone whose taper changes at 3 mm: all of it is close at 0.02 mm, none at 0.04 mm."""
    cone = Profile((0.0, 3.0, 16.0), (0.30, 0.48, 0.61))
    for gap, length in ((0.02, 13.0), (0.04, 0.0)):
        assert fit.tug_back(cone, Z, cone(Z) + gap, 0.0)[0] == pytest.approx(length, abs=1e-9)


def test_the_grip_counts_every_close_part_and_each_draw_for_itself():
    """A gap that is 0 at 2 and 10 mm, 0.4 in the middle, 0.2 at the ends: on each flank 0.3 mm count at 0.03 mm, twice over."""
    bulge = np.interp(Z, [0.0, 2.0, 6.0, 10.0, 13.0], [0.2, 0.0, 0.4, 0.0, 0.3])
    cone, trims = Profile.uniform(0.28, 0.04), np.array([0.5, 0.5, 1.0])
    minor = 0.30 + 0.04 * Z + bulge + np.array([[0.0], [0.0], [0.02]])
    grips = fit.tug_back(cone, Z, minor, [0.0, 0.0, 0.0], offset=[0.0, 0.01, 0.0], trim=trims)
    assert grips == pytest.approx([4 * 0.3, 4 * 0.4, 4 * 0.3], abs=1e-9)
    assert fit.tug_back(cone, Z, minor[0], 0.0, trim=0.5, within=0.05) == pytest.approx(4 * 0.5, abs=1e-9)


def test_a_cone_of_several_tapers_is_held_where_its_outline_first_touches():
    """Corners of the cone count between the stations of the lumen: 0.40 mm at 3 mm from the tip meets 0.35 + 0.02 z at 2.5 mm."""
    cone = Profile((0.0, 3.0, 10.0), (0.1, 0.4, 0.41))
    assert fit.seat(cone, np.array([0.0, 5.0, 13.0]), np.array([0.35, 0.45, 0.61]))[0] == pytest.approx(
        2.5 - 3.0, abs=1e-9
    )
    assert fit.seat(cone, np.array([0.0, 5.0, 13.0]), np.array([0.35, 0.45, 0.61]), trim=1.0)[0] == pytest.approx(
        2.5 - 2.0, abs=1e-9
    )


def test_the_last_stretch_below_the_orifice_counts_too():
    """0.40 mm at 3 mm from the tip meets 0.38 to 0.46 mm between 5 and 13 mm, the last two stations, at 7 mm."""
    cone = Profile((0.0, 3.0, 10.0), (0.1, 0.4, 0.41))
    assert fit.seat(cone, np.array([0.0, 5.0, 13.0]), np.array([0.30, 0.38, 0.46]))[0] == pytest.approx(4.0, abs=1e-9)


def test_a_narrow_ring_holds_a_cone_of_several_tapers_where_it_is_as_thick() -> None:
    """A ring of 0.35 mm at 5 mm: the cone, 0.35 mm at 2.5 mm and 0.405 mm at 6.5 mm from its tip, stands half its first part below."""
    cone = Profile((0.0, 3.0, 10.0), (0.1, 0.4, 0.41))
    assert fit.seat(cone, Z, np.where(np.arange(131) == 50, 0.35, 1.0))[0] == pytest.approx(2.5, abs=1e-9)
    assert fit.seat(cone, Z, np.where(np.arange(131) == 100, 0.405, 1.0))[0] == pytest.approx(10.0 - 6.5, abs=1e-9)


def test_a_ring_finds_its_part_among_many() -> None:
    """Four parts: rings of 0.35, 0.425, 0.455 and 0.48 mm each hold the middle of one of them."""
    cone = Profile((0.0, 3.0, 6.0, 9.0, 12.0), (0.3, 0.4, 0.45, 0.46, 0.5))
    for ring, middle in ((0.35, 1.5), (0.425, 4.5), (0.455, 7.5), (0.48, 10.5)):
        assert fit.seat(cone, Z, np.where(np.arange(131) == 120, ring, 1.0))[0] == pytest.approx(12 - middle, abs=1e-9)


@pytest.mark.parametrize(("ring", "held", "seat"), [(50, 5.0, 2.5), (0, 0.0, -2.5), (None, -np.inf, -np.inf)])
def test_it_is_told_which_station_holds(ring, held, seat):
    """A ring of 0.35 mm, where the cone is 2.5 mm from its tip, holds it at the ring's station; where nothing does there is none."""
    width, at, diameter = np.full((1, 131), 1.0), np.array([0.0, 3.0, 10.0]), np.array([0.1, 0.4, 0.41])
    if ring is not None:
        width[0, ring] = 0.35
    out, station = np.empty(1), np.empty(1)
    _seat.seats(Z, width, np.zeros(1), 131, at, diameter, np.zeros(1), out, station)
    assert (out[0], station[0]) == pytest.approx((seat, held), abs=1e-9)


def test_trim_for_puts_the_median_at_the_target():
    minor = 0.30 + 0.05 * Z
    offset = np.random.default_rng(1).uniform(-0.05, 0.05, 400)
    trim = fit.trim_for(Profile.uniform(0.25, 0.04), Z, minor, 0.5, offset=offset)
    assert trim.reached
    assert trim.median == pytest.approx(0.5, abs=0.02)
    assert trim.tip == pytest.approx(0.325 - float(np.median(offset)), abs=0.005)
    assert not fit.trim_for(Profile.uniform(0.60, 0.04), Z, minor, 0.5).reached
    assert not fit.trim_for(Profile((0.0,), (0.1,)), Z, minor, 0.5, most=3).reached


def test_trim_table_rows_agree_with_seat():
    minor = np.tile(0.30 + 0.05 * Z, (5, 1))
    offset = np.array([0.0, 0.02, -0.02, 0.05, -0.05])
    rows = fit.trim_table(Profile.uniform(0.25, 0.04), Z, minor, 0.5, [0, 1, 2], offset=offset)
    assert [row.tip for row in rows] == pytest.approx([0.25, 0.29, 0.33])
    for row in rows:
        assert (row.seats == fit.seat(Profile.uniform(0.25, 0.04), Z, minor, offset=offset, trim=row.trim)).all()
        assert row.chance == np.mean(np.abs(row.seats[1:] - 0.5) <= 0.5 + 1e-9)


def test_wrong_shapes_are_named():
    cone = Profile.uniform(0.3, 0.04)
    with pytest.raises(ValueError, match="last axis is the station"):
        fit.seat(cone, Z, np.ones(5))
    with pytest.raises(ValueError, match="draws differ"):
        fit.seat(cone, Z, np.ones((3, 131)), offset=np.zeros(4))
    with pytest.raises(ValueError, match="trim must be 0"):
        fit.seat(cone, Z, np.ones(131), trim=-1.0)
