"""Protects: the rounds go down in even plunges, never too long, and no plugger is sent below its stop."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canalwright.instruments import Plugger, Profile
from canalwright.planning import practice
from canalwright.planning.downpack import lay_rounds

WIDE, NARROW = (Plugger(f"stiff {tip}", Profile.uniform(tip, 0.02)) for tip in (0.9, 0.5))


@given(top=st.floats(9, 20), deepest=st.floats(3, 8), wide=st.floats(4, 14), narrow=st.floats(0.5, 8))
def test_rounds_cover_the_way(top: float, deepest: float, wide: float, narrow: float) -> None:
    steps = lay_rounds(top, deepest, ((WIDE, wide), (NARROW, narrow)))
    stops = [step.carrier_stop for step in steps]
    assert stops[-1] == pytest.approx(deepest)
    assert stops == sorted(stops, reverse=True)
    for step in steps:
        assert step.top - step.carrier_stop <= practice.PLUNGE_MOST + practice.SETTLE + 1e-6
        assert step.bite >= -1e-9
        limit = wide if step.plugger is WIDE else narrow
        assert step.pressed >= limit - 1e-9
        assert step.left == min(step.pressed, step.bitten), "what is left ends where the press or the bite left it"
        assert step.carrier_stop <= step.left + 1e-9
    for before, after in pairwise(steps):
        assert after.top == before.left


def test_number_of_rounds_is_kept_when_chosen() -> None:
    assert len(lay_rounds(12, 4.5, ((WIDE, 4.0),), rounds=5)) == 5


@pytest.mark.parametrize(("top", "deepest", "rounds"), [(5.0, 5.0, None), (4.0, 6.0, None), (10.0, 5.0, 0)])
def test_nonsense_is_refused(top: float, deepest: float, rounds: int | None) -> None:
    with pytest.raises(ValueError, match="downpack"):
        lay_rounds(top, deepest, ((WIDE, 4.0),), rounds)
