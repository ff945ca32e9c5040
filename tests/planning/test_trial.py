"""What many protocols would do in one canal: the answers of the plan where it asks the same, cheaper, and in the same order."""

from dataclasses import replace

import numpy as np
import pytest

from canalwright.casefile import Case
from canalwright.instruments import Tray
from canalwright.planning import Choices, Plan, PlanError, Trial, trials
from canalwright.planning.trial import reaches_end

USUAL = Choices(draws=64)
PROTOCOLS = (USUAL, replace(USUAL, temperature=230.0, rounds=4), replace(USUAL, activation=2.0, rounds=2))


@pytest.fixture(scope="module")
def found(case: Case, tray: Tray) -> tuple[Trial, ...]:
    return trials(case.canals[0], tray, PROTOCOLS)


def test_each_protocol_is_answered_in_order_and_by_draw(found: tuple[Trial, ...]) -> None:
    assert [t.choices for t in found] == list(PROTOCOLS)
    for trial in found:
        assert trial.rise.shape == trial.cem43.shape == trial.above_47.shape == trial.front.shape == (65,)
        assert np.all(trial.rise > 0) and np.all(trial.cem43 >= 0)
        assert trial.filled is None
    assert (found[1].temperature, found[2].activation, found[2].rounds) == (230.0, 2.0, 2)


def test_the_first_draw_says_what_the_plan_says(found: tuple[Trial, ...], plans: dict[str, Plan], case: Case) -> None:
    """The same canal, fit and protocol on the same grid; the plan follows the root's surface for longer, which adds little."""
    plan = plans[case.canals[0].name]
    assert found[0].rise[0] == pytest.approx(plan.heat.surface_rise.value, abs=0.1)
    assert found[0].seconds == pytest.approx(plan.protocol.seconds, rel=0.5)


def test_a_hotter_carrier_never_cools(found: tuple[Trial, ...]) -> None:
    """Draws whose greatest rise the carrier does not make stay as they are, but for the scaling of a hundredth to the finer grid."""
    usual, hotter, _ = found
    assert usual.temperature < 200.0
    assert hotter.rise[0] > usual.rise[0]
    assert np.all(hotter.rise > 0.98 * usual.rise)
    assert np.mean(hotter.rise > 1.05 * usual.rise) > 0.5
    assert hotter.tools is usual.tools, "protocols with the same fit share it"


def test_the_chance_is_the_share_of_the_draws(found: tuple[Trial, ...]) -> None:
    trial = found[0]
    assert trial.chance_over(0.0) == 1.0
    assert trial.chance_over(1e3) == 0.0
    middle = float(np.median(trial.rise[1:]))
    assert trial.chance_over(middle) == pytest.approx(0.5, abs=0.05)


def test_whether_the_last_plugger_reaches_the_end(found: tuple[Trial, ...], case: Case) -> None:
    canal = case.canals[0]
    assert reaches_end(found[0], canal, within=30.0) == (True, 1.0)
    there, share = reaches_end(found[0], canal, within=0.0)
    assert not there and share < 0.5
    without = replace(found[0], tools=replace(found[0].tools, pluggers=()))
    assert reaches_end(without, canal) == (False, 0.0)


def test_what_the_press_moves_is_asked_when_wanted(case: Case, tray: Tray) -> None:
    (trial,) = trials(case.canals[0], tray, [USUAL], press=True)
    assert trial.filled is not None


def test_a_protocol_that_cannot_be_done_is_refused(case: Case, tray: Tray) -> None:
    with pytest.raises(PlanError):
        trials(case.canals[0], tray, [replace(USUAL, temperature=2000.0)])
    with pytest.raises(PlanError):
        trials(case.canals[0], tray, [replace(USUAL, cone="no such cone")])
