"""Protects: the rounds go down in even plunges, never too long, and no plugger is sent below its stop."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canalwright.instruments import Plugger, Profile
from canalwright.planning import practice
from canalwright.planning.downpack import lay_rounds, least_rounds, pressed_there
from canalwright.protocol.acts import TOUCH

WIDE, NARROW = (Plugger(f"stiff {tip}", Profile.uniform(tip, 0.02)) for tip in (0.9, 0.5))


@given(top=st.floats(9, 20), deepest=st.floats(3, 8), wide=st.floats(4, 14), narrow=st.floats(0.5, 8))
def test_rounds_cover_the_way(top: float, deepest: float, wide: float, narrow: float) -> None:
    steps = lay_rounds(top, deepest, ((WIDE, wide), (NARROW, narrow)))
    stops = [step.carrier_stop for step in steps]
    assert stops[-1] == pytest.approx(deepest)
    assert stops == sorted(stops, reverse=True)
    for step in steps:
        assert step.top - step.carrier_stop <= practice.PLUNGE_MOST + practice.SETTLE + 1e-6
        assert step.bite == step.top - step.bitten >= -1e-9
        assert step.bitten == pytest.approx(min(step.carrier_stop + practice.LEFT_BY_BITE, step.top))
        limit = wide if step.plugger is WIDE else narrow
        assert step.pressed == pytest.approx(max(step.bitten - practice.SETTLE, limit))
        reach = step.bitten - practice.SETTLE + 1e-9
        assert (step.plugger is WIDE) == (wide <= reach or (narrow > reach and wide <= narrow))
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


def test_as_few_rounds_as_the_longest_plunge_allows() -> None:
    most = practice.PLUNGE_MOST + practice.SETTLE - practice.LEFT_BY_BITE
    for way, rounds in ((0.5, 1), (most, 1), (most + 0.005, 2), (2 * most, 2)):
        assert least_rounds(4.0 + way, 4.0) == rounds


@pytest.mark.parametrize(("way", "rounds"), [(1.0, 1), (3.5, 1), (7.0, 2), (10.5, 3), (5.2, 2)])
def test_rounds_of_the_usual_plunge(way: float, rounds: int) -> None:
    """As many as plunges of the usual length make, one more where that would plunge too far."""
    assert len(lay_rounds(4.0 + way, 4.0, ((WIDE, 1.0),))) == rounds


def test_one_long_round_is_left_to_who_asks_for_it() -> None:
    assert len(lay_rounds(14.0, 4.0, ((WIDE, 1.0),), rounds=1)) == 1


@pytest.mark.parametrize(
    ("short", "plugger"),
    [(-0.1, WIDE), (0.0, WIDE), (0.005, NARROW), (0.25, NARROW)],
    ids=["deeper", "just", "hardly not", "not"],
)
def test_the_widest_plugger_that_reaches_what_it_packs_presses(short: float, plugger: Plugger) -> None:
    """Packed is half a millimetre below the bitten surface; a plugger whose stop lies above that leaves it to a narrower one."""
    packed = 4.0 + practice.LEFT_BY_BITE - practice.SETTLE
    assert lay_rounds(7.0, 4.0, ((WIDE, packed + short), (NARROW, 1.0)))[-1].plugger is plugger


def test_where_none_reaches_the_one_that_gets_deepest_is_taken() -> None:
    (step,) = lay_rounds(7.0, 4.0, ((WIDE, 6.5), (NARROW, 6.0)))
    assert step.plugger is NARROW and step.pressed == 6.0
    assert step.left == step.bitten == 4.5, "what is not pressed stays as the bite left it"


@given(deepest=st.floats(3, 5), wide=st.floats(4, 9), narrow=st.floats(3, 8))
def test_the_downpack_ends_where_its_last_plugger_packs(deepest: float, wide: float, narrow: float) -> None:
    """The carrier is kept from going deeper than a plugger can follow, never past `most` for it, and not at all in vain."""
    most, pluggers = 5.0, ((WIDE, wide), (NARROW, narrow))
    stop = pressed_there(deepest, most, pluggers)
    assert deepest <= stop <= most
    last = lay_rounds(12.0, stop, pluggers)[-1]
    packs, follows = last.bitten - last.pressed, min(wide, narrow)
    if follows <= most:
        assert packs == pytest.approx(practice.SETTLE), "packed by the whole way"
    elif follows <= most + practice.SETTLE - TOUCH:
        assert TOUCH - 1e-6 <= packs < practice.SETTLE, "packed by as much as the carrier's depth leaves"
    else:
        assert stop == deepest and packs < TOUCH
