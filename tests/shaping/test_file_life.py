"""Files in curves: closed forms of strain and side force, published orders, intervals as wide as the knowledge."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canalwright import shaping
from canalwright.instruments import File, Profile
from canalwright.shaping import fatigue
from tests.fit.canals import canal


def _file(size: int, taper: float, **more) -> File:
    return File(f"{size}/{taper}", Profile.uniform(size / 100, taper), size, **more)


def test_strain_and_life_in_a_known_arc():
    """0.40 mm in an arc of 5 mm: 4 %; turns by the law from there."""
    one = canal(size=40, taper=0.0, end=0.0, radius=5.0, straight=6.0)
    found = shaping.life(one)
    assert found.strain == pytest.approx(0.04, rel=0.01)
    assert found.turns.value == pytest.approx(500 * (0.055 / 0.04) ** 2, rel=0.02)
    assert found.turns.high / found.turns.low == pytest.approx(123, rel=1e-6)


@given(st.floats(0.005, 0.2), st.floats(1.01, 3))
def test_more_strain_means_fewer_turns(strain, more):
    """Half the strain, four times the turns; heat treatment lengthens, 3 to 8 times."""
    one, two = shaping.turns_to_failure(strain), shaping.turns_to_failure(strain * more)
    assert one.value / two.value == pytest.approx(more**2)
    assert 3 <= shaping.turns_to_failure(strain, "heat-treated").value / one.value <= 8


def test_published_orders():
    """Fewer turns with the smaller radius and the larger size; speed changes seconds, not turns."""
    wide, tight = (canal(size=30, taper=0.0, end=0.0, radius=r, straight=6.0) for r in (5.0, 3.0))
    assert shaping.life(tight).turns.value < shaping.life(wide).turns.value
    assert shaping.life(wide, _file(40, 0.0)).turns.value < shaping.life(wide, _file(30, 0.0)).turns.value
    slow, fast = (shaping.life(wide, speed=s) for s in (300, 600))
    assert slow.turns == fast.turns and slow.canals.value == pytest.approx(2 * fast.canals.value)


def test_discard_count():
    """The tray's own count is obeyed, and the low end of the interval says when a new file is due."""
    one = canal(size=25, taper=0.02, end=0.0, radius=20.0, straight=6.0)
    fresh = _file(25, 0.02, uses=0, most_uses=4)
    assert not shaping.life(one, fresh).discard
    full = shaping.life(one, replace(fresh, uses=4))
    assert full.discard and "4 times of 4" in full.words
    sharp = canal(size=40, taper=0.04, end=0.0, radius=4.0, straight=6.0)
    assert shaping.life(sharp, _file(40, 0.04, uses=3)).discard
    assert shaping.life(canal(), _file(25, 0.02)).left == 99  # straight


def test_the_interval_holds_what_set_ups_scatter():
    """Lives drawn lognormally with 123-fold 5-95 % spread lie in the stated interval in 90 %."""
    rng = np.random.default_rng(2)
    lives = 500 * np.exp(rng.normal(0, fatigue.SPREAD, 4000))
    stated = shaping.turns_to_failure(fatigue.STRAIN)
    assert np.mean((lives >= stated.low) & (lives <= stated.high)) == pytest.approx(0.9, abs=0.015)


def test_side_force_closed_form():
    """E I / (R l): superelastic 0.55 mm, 8 mm, 5 mm."""
    assert shaping.side_force(0.55, 8, 5) == pytest.approx(40e3 * np.pi * 0.55**4 / 64 / 40)
    assert shaping.transport(shaping.side_force(0.55, 8, 5)).value == pytest.approx(0.09, abs=0.001)


@given(st.floats(0, 500), st.floats(0, 50))
def test_transportation_is_bounded_and_grows(force, more):
    one, two = shaping.transport(force), shaping.transport(force + more)
    assert 0 <= one.low <= one.value <= one.high <= 0.40
    assert one.value <= two.value


def test_stiffer_files_and_sharper_curves_transport_more():
    sharp, gentle = (canal(size=30, taper=0.04, end=0.5, radius=r, straight=6.0) for r in (5.0, 12.0))
    for alloy, stiffer in (("heat-treated", "superelastic"), ("superelastic", "steel")):
        soft, hard = (shaping.transportation(sharp, _file(30, 0.04, alloy=a)) for a in (alloy, stiffer))
        assert soft.value < hard.value
    assert shaping.transportation(gentle).value < shaping.transportation(sharp).value
    assert shaping.transportation(canal()).value == 0


def test_bad_input_is_refused():
    with pytest.raises(ValueError, match="no fatigue data"):
        shaping.turns_to_failure(0.05, "steel")
    with pytest.raises(ValueError, match="0 or more"):
        shaping.turns_to_failure(float("nan"))
    with pytest.raises(ValueError, match="no stiffness"):
        shaping.side_force(0.3, 5, 5, "wood")
    with pytest.raises(ValueError, match="from 0 to"):
        shaping.sequence(canal(), [(_file(25, 0.02), 40.0)])


@given(st.lists(st.sampled_from([(20, 0.02), (25, 0.04), (30, 0.04), (35, 0.06)]), min_size=1, max_size=4))
def test_a_sequence_leaves_the_union(files):
    """What is taken in all is the union less the native lumen, in any order; a repeat cuts nothing."""
    one = canal(end=0.5, oval=2.0)
    passes = shaping.sequence(one, [(_file(*f), 0.5) for f in files])
    widest = np.max([shaping.envelope(_file(*f), one.native.z, 0.5) for f in files], axis=0)
    native = one.native
    union = shaping.union_area(native.minor, native.major, widest)
    before = shaping.union_area(native.minor, native.major, 0.0)
    assert sum(p.volume for p in passes) == pytest.approx(np.trapezoid(union - before, native.z), abs=1e-9)
    again = shaping.sequence(one, [(_file(*f), 0.5) for f in [*files, *files]])
    assert all(p.volume == pytest.approx(0, abs=1e-12) and not p.cuts.any() for p in again[len(files) :])
    for early, late in pairwise(passes):
        assert (late.untouched <= early.untouched + 1e-9).all()


def test_where_a_file_cuts():
    """A file wider than the canal near its end only cuts there: native 0.2 + 0.05 z, file 0.4 + 0.02 z from z = 0."""
    one = canal(end=0.0, tip=0.2, taper_native=0.05)
    found = shaping.sequence(one, [(_file(40, 0.02), 0.0)])[0]
    assert found.lowest == 0 and found.highest == pytest.approx(0.2 / 0.03, abs=0.11)
    assert found.share == pytest.approx(found.highest / 13, abs=0.02)
