"""Lengths from many measurements: closed forms, stated intervals that cover, disagreement told and never averaged."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2, ncx2

from canalwright.anatomy import Tooth, averages
from canalwright.quantities import Quantity
from canalwright.readiness import (
    Landmark,
    Sounding,
    combine,
    error_from_share,
    film_sounding,
    method,
    method_names,
    next_steps,
)
from canalwright.readiness.length import Z90
from canalwright.readiness.methods import apex_to_foramen, foramen_to_constriction
from canalwright.readiness.normal import UNKNOWN, Model

TOOTH = Tooth(46)
METHODS = st.sampled_from(method_names())
SOUNDINGS = st.lists(st.builds(Sounding, METHODS, st.floats(19.5, 22.0)), min_size=1, max_size=6)


def _half(quantity) -> float:
    return (quantity.high - quantity.low) / 2 / Z90


def test_two_readings_of_one_unknown_meet_by_their_weights():
    """Closed form: the mean weighted by 1 / variance, and its variance."""
    model = Model(
        np.full(1, 20.5), np.array([UNKNOWN]), np.ones((2, 1)), np.array([20.0, 21.0]), np.array([0.04, 0.09])
    )
    mean, covariance = model.posterior()
    assert mean[0] == pytest.approx((20 / 0.04 + 21 / 0.09) / (1 / 0.04 + 1 / 0.09), abs=1e-6)
    assert covariance[0, 0] == pytest.approx(1 / (1 / 0.04 + 1 / 0.09), rel=1e-6)
    found, freedom, chance = model.disagreement()
    assert (found, freedom) == (pytest.approx(1 / 0.13, rel=1e-5), 1)
    assert chance == pytest.approx(chi2.sf(1 / 0.13, 1), rel=1e-4)


def test_one_locator_against_the_average_tooth():
    """Closed form for one reading: prior of the apex less the distances, weighed against the reading."""
    usual, foramen = averages.tooth_averages(TOOTH), apex_to_foramen(TOOTH)
    prior = usual.crown.spread**2 + usual.root.spread**2 + foramen.spread**2
    noise = method("apex locator").error ** 2
    found = combine([Sounding("apex locator", 21.0)], TOOTH)
    expected = ((usual.length - foramen.value) / prior + 21.0 / noise) / (1 / prior + 1 / noise)
    assert found.foramen.value == pytest.approx(expected, abs=1e-9)
    assert _half(found.foramen) == pytest.approx((1 / prior + 1 / noise) ** -0.5, abs=1e-9)
    assert found.constriction.value == pytest.approx(expected - foramen_to_constriction(None).value, abs=1e-9)


def test_a_repeat_does_not_average_out_what_it_shares():
    """A hundred paper points still err together: the shared 0.32 mm stays."""
    many = combine([Sounding("paper point", 21.0)] * 50, TOOTH)
    one = combine([Sounding("paper point", 21.0)], TOOTH)
    assert method("paper point").shared * 0.9 < _half(many.foramen) < _half(one.foramen)


def test_both_marks_of_one_locator_err_together():
    """The second mark of the same device adds less than a second device with the same error would."""
    device = combine([Sounding("apex locator", 21.0), Sounding("apex locator, constriction mark", 20.5)], TOOTH)
    apart = combine([Sounding("apex locator", 21.0), Sounding("paper point", 21.0, error=0.63)], TOOTH)
    assert _half(device.foramen) > _half(apart.foramen)


@settings(max_examples=60, deadline=None)
@given(SOUNDINGS, st.floats(-1, 1))
def test_laws(soundings, shift):
    """Order does not matter; coronal is coronal; one more reading never widens; the value follows a common shift."""
    found = combine(soundings, TOOTH, 40)
    again = combine(tuple(reversed(soundings)), TOOTH, 40)
    assert found.chance == pytest.approx(again.chance, rel=1e-6, abs=1e-12)
    for candidate in found.candidates:
        assert candidate.constriction.value < candidate.apex.value + 0.5
    if found.agrees:
        assert found.constriction.value == pytest.approx(again.constriction.value, abs=1e-9)
        more = combine([*soundings, Sounding("patency file", found.foramen.value)], TOOTH, 40)
        if more.agrees:
            assert _half(more.constriction) <= _half(found.constriction) + 1e-9
    moved = combine([Sounding(s.method, s.value + shift) for s in soundings], TOOTH, 40)
    assert moved.chi_square == pytest.approx(found.chi_square, rel=1e-4, abs=1e-4)


def _truths(count: int, seed: int):
    rng = np.random.default_rng(seed)
    usual, foramen, tight = averages.tooth_averages(TOOTH), apex_to_foramen(TOOTH), foramen_to_constriction(40)
    spread = np.hypot(usual.crown.spread, usual.root.spread)
    apex = rng.normal(usual.length, spread, count)
    at_foramen = apex - rng.normal(foramen.value, foramen.spread, count)
    return rng, apex, at_foramen, at_foramen - rng.normal(tight.value, tight.spread, count)


def _read(rng, name, apex, foramen, constriction):
    known = method(name)
    truth = {Landmark.APEX: apex, Landmark.FORAMEN: foramen, Landmark.CONSTRICTION: constriction}[known.sees]
    return Sounding(name, float(truth + known.bias + rng.normal(0, known.error)))


def test_the_stated_interval_covers():
    """Of 600 simulated canals the 5-95 % interval holds the true constriction in 90 % (give or take 3 spreads of 1.2 %)."""
    rng, apex, foramen, tight = _truths(600, 7)
    names = ("apex locator", "radiograph", "paper point")
    held, agreed = 0, 0
    for place in zip(apex, foramen, tight, strict=True):
        found = combine([_read(rng, n, *place) for n in names], TOOTH, 40)
        held += found.constriction.low <= place[2] <= found.constriction.high
        agreed += found.agrees
    assert 0.863 <= held / 600 <= 0.937
    assert 0.92 <= agreed / 600 <= 0.98  # 5 % false alarms


def test_a_blunder_of_2_mm_is_found_as_often_as_theory_says():
    """Power of the test against the noncentral chi-square: closed form, and by simulation."""
    rng, apex, foramen, tight = _truths(400, 11)
    names = ("apex locator", "radiograph", "paper point")
    seen = 0
    for place in zip(apex, foramen, tight, strict=True):
        soundings = [_read(rng, n, *place) for n in names]
        soundings[2] = Sounding("paper point", soundings[2].value - 2.0)
        seen += not combine(soundings, TOOTH, 40).agrees
    spread = np.array(
        [
            [method(a).error ** 2 if a == b else 0.0 for b in names]
            for a in names
        ]
    )  # fmt: skip
    spread[1, 1] += apex_to_foramen(TOOTH).spread ** 2
    weight = np.linalg.inv(spread)
    step = np.array([0, 0, -2.0])
    project = weight - np.outer(weight @ np.ones(3), np.ones(3) @ weight) / (np.ones(3) @ weight @ np.ones(3))
    power = ncx2.sf(chi2.isf(0.05, 2), 2, step @ project @ step)
    assert seen / 400 == pytest.approx(power, abs=3 * np.sqrt(power * (1 - power) / 400))


def test_disagreement_is_told_not_averaged():
    """Locator and radiograph 3 mm apart: two candidates, none of them in the middle; the interval takes in both."""
    found = combine([Sounding("apex locator", 20.0), Sounding("radiograph", 23.6)], TOOTH, 40)
    assert not found.agrees and found.chance < 0.01
    assert {len(c.soundings) for c in found.candidates} == {1}
    middle = (20.0 + 23.6 - 0.5) / 2
    assert all(abs(c.foramen.value - middle) > 1.0 for c in found.candidates)
    for candidate in found.candidates:
        assert found.foramen.low <= candidate.foramen.low and candidate.foramen.high <= found.foramen.high
    assert [abs(o.apart) > 2.5 for o in found.odd] == [True, True]
    assert next_steps(found) == ()


def test_the_odd_one_out_is_named():
    """Three that agree and one 3 mm off: it alone is set apart, and the length rests on the three."""
    good = [Sounding("apex locator", 21.0), Sounding("paper point", 20.9), Sounding("patency file", 21.1)]
    found = combine([*good, Sounding("radiograph", 25.0)], TOOTH, 40)
    assert found.odd[0].sounding.method == "radiograph"
    assert set(found.candidates[0].soundings) == set(good)


def test_next_steps_say_what_really_comes():
    """The stated width after a reading is the one that the reading then gives, whatever it reads."""
    found = combine([Sounding("apex locator", 21.0)], TOOTH, 40)
    for step, read in itertools.product(next_steps(found), (20.9, 21.2)):
        after = combine([*found.soundings, Sounding(step.method, read)], TOOTH, 40).candidates[0]
        if len(after.soundings) == 2:
            assert after.constriction.high - after.constriction.low == pytest.approx(step.after, abs=1e-9)
    assert next_steps(found)[0].method == "paper point"
    assert next_steps(found, offered=["radiograph"])[0].dose


def test_older_canals_end_shorter():
    """The constriction moves away from the foramen with age."""
    young, old = (combine([Sounding("apex locator", 21.0)], TOOTH, age) for age in (20, 70))
    assert young.constriction.value - old.constriction.value == pytest.approx(0.659 - 0.524, abs=1e-9)


@pytest.mark.parametrize(
    ("soundings", "age", "words"),
    [
        ([], None, "at least one"),
        ([Sounding("guess", 21.0)], None, "there are apex locator"),
        ([Sounding("tactile", 50.0)], None, "8 to 42 mm"),
        ([Sounding("tactile", float("nan"))], None, "8 to 42 mm"),
        ([Sounding("tactile", 20.0, error=0.0)], None, "more than 0"),
        ([Sounding("tactile", 20.0)], 3, "5 to 120"),
    ],
)
def test_bad_input_is_refused_in_words(soundings, age, words):
    with pytest.raises(ValueError, match=words):
        combine(soundings, TOOTH, age)


def test_error_from_share():
    """All of 23 is no proof of no error; a share and its spread belong together both ways."""
    assert error_from_share(1.0, count=23) == pytest.approx(0.216, abs=0.001)
    assert error_from_share(0.6827, limit=0.3) == pytest.approx(0.3, abs=0.001)
    with pytest.raises(ValueError, match="needs the count"):
        error_from_share(1.0)


def test_a_film_is_never_surer_than_films_were():
    """The error of marks and scale joins in only where it is more than the published one."""
    sharp, rough = Quantity(21.5, 21.3, 21.7, "mm"), Quantity(21.5, 19.5, 23.5, "mm")
    assert film_sounding(sharp).error == method("radiograph").error
    assert film_sounding(rough).error == pytest.approx(2 / Z90)
