"""Sequences refused with the reason; budgets that a chair can follow and that do what they say."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright import irrigation
from canalwright.anatomy import Portal
from canalwright.irrigation import SOLUTIONS, Bath, SequenceError
from canalwright.quantities import Reading, Shape
from tests.fit.canals import canal

ORDERS = st.lists(st.sampled_from(SOLUTIONS), max_size=8)


def test_hypochlorite_and_chlorhexidine_are_refused_with_the_reason():
    with pytest.raises(SequenceError, match=r"brown precipitate .* saline or water"):
        irrigation.checked(["hypochlorite", "chlorhexidine"])
    assert irrigation.checked(["hypochlorite", "saline", "chlorhexidine"])


@given(ORDERS)
def test_a_clash_is_one_both_ways_and_saline_mends_it(order):
    assert len(irrigation.clashes(order)) == len(irrigation.clashes(order[::-1]))
    assert irrigation.clashes(irrigation.mended(order)) == ()
    assert [s for s in irrigation.mended(order) if s in order or s == "saline"] == list(irrigation.mended(order))


def test_unknown_solution():
    with pytest.raises(SequenceError, match="there are hypochlorite"):
        irrigation.clashes(["bleach"])


def _oval(**more):
    return canal(size=35, taper=0.04, end=0.5, tip=0.3, taper_native=0.04, oval=2.5, **more)


def test_pockets():
    """A fin is what the oval has beyond the round; a branch without a length gets the published one, and says so."""
    one = _oval()
    fin = irrigation.pockets(one)[0]
    assert fin.depth == pytest.approx((2.5 * (0.3 + 0.04 * 13) - 0.85) / 2, abs=0.02)
    branch = Portal(4.0, Reading(0.2, 0.3, "mm", shape=Shape.LOGNORMAL))
    found = irrigation.pockets(replace(one, portals=(branch,)))
    assert any(p.supposed and p.depth == 0.88 for p in found)
    assert irrigation.pockets(canal(size=40, taper=0.06, end=0.0)) == ()


@settings(max_examples=25, deadline=None)
@given(st.floats(0.5, 8), st.floats(20, 50), st.sampled_from(irrigation.agitations()), st.floats(120, 3600))
def test_a_budget_is_one_that_can_be_followed(percent, warm, agitation, most):
    """No clash in it; no step over its limit; fresh often enough; what it calls done is done in the time."""
    found = irrigation.budget(_oval(), Bath(percent, warm, agitation), most=most)
    assert irrigation.clashes(found.order) == ()
    assert found.dissolving <= max(most, 30) + 30 and found.dissolving % 30 == 0
    first = found.contacts[0]
    assert 0 < first.fresh_every <= 120.0 + 1e-6 and first.fillings * first.fresh_every >= first.seconds - 1e-6
    for one in found.reached:
        assert one.done == (one.needs.value <= found.dissolving + 1e-6) or abs(one.needs.value - found.dissolving) < 1
        assert one.dissolved.value <= one.pocket.depth + 1e-12
    assert found.contacts[2].solution == "EDTA" and found.contacts[2].seconds == 60
    assert bool(found.warnings) == any(not r.done for r in found.reached)


def test_asking_for_the_slow_end_takes_longer():
    slow, mean = (irrigation.budget(_oval(), Bath(5.0, 37, "ultrasonic"), ask=a, most=3600) for a in ("high", "value"))
    assert slow.dissolving >= mean.dissolving


def test_a_budget_without_time_is_refused():
    with pytest.raises(ValueError, match="60 s or more"):
        irrigation.budget(_oval(), most=10)
