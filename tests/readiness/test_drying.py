"""Paper points and gauges: closed forms, intervals that cover, patterns told, nothing said before it is known."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canalwright.instruments import iso3630
from canalwright.readiness import GaugeTrial, PaperPointReading, Pattern, combine, gauge, read_points, sounding_of
from canalwright.readiness.length import Z90
from canalwright.readiness.methods import method
from canalwright.readiness.points import own_error

P = PaperPointReading
LENGTHS = st.lists(st.builds(P, st.floats(18, 22).map(lambda v: round(v * 4) / 4)), max_size=8)


def test_three_alike_are_enough():
    """Mean of the steady ones; half width z sqrt(shared^2 + own^2 / 3)."""
    found = read_points([P(20.5), P(20.5), P(20.5)])
    assert found.stop and found.pattern is Pattern.ROUND and found.used == (0, 1, 2)
    half = Z90 * np.hypot(method("paper point").shared, own_error() / np.sqrt(3))
    assert found.end.value == 20.5 and found.end.high - found.end.value == pytest.approx(half)
    assert found.cone_end.value == pytest.approx(20.25) and found.trim(21.0) == pytest.approx(0.75)
    assert found.trim(20.0) == 0.0 and "end the cone at 20.2" in found.action


def test_a_drying_canal_is_waited_for():
    """Lengths that still grow are not averaged: only the steady tail counts."""
    found = read_points([P(17.5), P(19.0), P(20.5)])
    assert not found.stop and found.pattern is Pattern.DRYING and found.used == (2,)
    later = read_points([P(17.5), P(19.0), P(20.5), P(20.5), P(20.25)])
    assert later.stop and later.used == (2, 3, 4)


def test_slanted_borders_are_told():
    """Two slanted borders: an oval or torn foramen is suspected, the near rim decides."""
    found = read_points([P(20.0, 20.75), P(20.0, 20.75), P(20.25)])
    assert found.stop and found.pattern is Pattern.SLANTED
    assert found.far_rim.value == pytest.approx(20.75) and found.end.value == pytest.approx(20.083, abs=0.01)
    assert "near rim" in found.action and "oval" in found.action


def test_blood_and_wandering():
    assert read_points([P(20.0, blood=True)] * 3).pattern is Pattern.BLEEDING
    wander = read_points([P(20.0), P(21.5), P(19.5), P(20.75), P(19.25)])
    assert wander.pattern is Pattern.UNSTEADY and not wander.stop
    wet = read_points([P(20.0), P(20.0), P(20.0), P(20.0, wet_through=True)])
    assert not wet.stop


def test_nothing_is_said_before_it_is_known():
    empty = read_points([])
    assert (empty.end, empty.stop, sounding_of(empty)) == (None, False, None)
    with pytest.raises(ValueError, match="nothing to trim"):
        empty.trim(20.0)
    with pytest.raises(ValueError, match="5 to 42"):
        P(3.0)
    with pytest.raises(ValueError, match="shorter one first"):
        P(20.0, 19.0)


@given(LENGTHS)
def test_laws(readings):
    """The end lies within the readings that count; a point that is wet through changes no length; shift moves all."""
    found = read_points(readings)
    if not readings:
        return
    used = [readings[i].dry for i in found.used]
    assert min(used) <= found.end.value <= max(used)
    wet = read_points([*readings, P(20.0, wet_through=True)])
    assert wet.end == found.end and not wet.stop
    moved = read_points([P(r.dry + 1) for r in readings])
    assert moved.end.value == pytest.approx(found.end.value + 1) and moved.pattern is found.pattern


def test_the_stated_interval_of_the_end_covers():
    """1000 simulated canals, three to six points read to 0.25 mm: 90 % hold the foramen (3 counting errors)."""
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(1000):
        true = rng.uniform(18, 24)
        n = rng.integers(3, 7)
        dry = true + rng.normal(0, method("paper point").shared) + rng.normal(0, method("paper point").own, n)
        found = read_points([P(round(v * 4) / 4) for v in dry])
        held += found.end.low <= true <= found.end.high
    assert 0.87 <= held / 1000 <= 0.93


def test_points_go_on_to_the_length():
    from canalwright.anatomy import Tooth

    found = read_points([P(20.5)] * 3)
    length = combine([sounding_of(found)], Tooth(46))
    assert length.foramen.value == pytest.approx(20.5, abs=0.1)


def test_one_pair_of_gauges():
    """30 passes, 35 stops: between 0.28 and 0.37 mm; the density is a trapezium about 0.325."""
    found = gauge([GaugeTrial(30, True), GaugeTrial(35, False)])
    assert (found.least, found.greatest) == (pytest.approx(0.28), pytest.approx(0.37))
    assert found.width.value == pytest.approx(0.325, abs=0.001)
    assert found.closed and found.next_size is None and not found.contradiction
    # Trapezium: 0.04 ramps about a flat 0.01; area 0.05; 5 % of it lies below 0.28 + sqrt(2 x 0.04 x 0.0025).
    assert found.width.low == pytest.approx(0.28 + np.sqrt(2 * 0.04 * 0.0025), abs=0.001)
    assert found.reading().error == pytest.approx(0.045)


@given(st.floats(0.1, 1.2), st.integers(0, 1000))
def test_a_series_led_by_its_own_advice_ends_about_the_truth(width, seed):
    """Try what is advised: it ends within 22 trials, without contradiction, and the bounds hold the width."""
    rng = np.random.default_rng(seed)
    trials = [GaugeTrial(25, bool(width >= 0.25 + rng.uniform(-0.02, 0.02)))]
    for _ in range(22):
        found = gauge(trials)
        if found.next_size is None:
            break
        size = found.next_size
        tolerance = iso3630.file_tolerance(size)
        trials.append(GaugeTrial(size, bool(width >= size / 100 + rng.uniform(-tolerance, tolerance))))
    assert found.next_size is None and not found.contradiction
    assert found.least - 1e-9 <= width <= found.greatest + 1e-9
    assert found.least <= found.width.low + STEP and found.width.high <= found.greatest + STEP


STEP = 0.001


def test_gauging_covers():
    """Widths as likely as each other, gauged to the end: the 5-95 % interval holds 90 %."""
    rng = np.random.default_rng(6)
    held = 0
    for _ in range(600):
        width = rng.uniform(0.2, 0.55)
        trials = [
            GaugeTrial(s, bool(width >= s / 100 + rng.uniform(-0.02, 0.02))) for s in (20, 25, 30, 35, 40, 45, 50, 55)
        ]
        found = gauge(trials)
        held += found.width.low <= width <= found.width.high
    assert 0.863 <= held / 600 <= 0.937


def test_a_contradiction_is_a_finding():
    found = gauge([GaugeTrial(40, True), GaugeTrial(30, False)])
    assert "40 passes but file 30 stops" in found.contradiction and found.next_size == 30
    with pytest.raises(ValueError, match="series"):
        GaugeTrial(33, True)
    with pytest.raises(ValueError, match="open on one side"):
        gauge([GaugeTrial(30, True)]).reading()
    with pytest.raises(ValueError, match="no gauging file"):
        gauge([])
