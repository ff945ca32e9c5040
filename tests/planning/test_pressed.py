"""Protects: the plugger of each round that the planner lays presses the softened gutta-percha, or the plan says that it does not.

Canals are drawn about the published averages of eleven teeth, trays are what is left of the generic one.
"""

from dataclasses import replace
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright import casefile, planning
from canalwright.casefile import Case
from canalwright.cohort.virtual import Kind, draw_tooth
from canalwright.instruments import Tray
from canalwright.planning import Choices, Plan, PlanError, fitting, planner, practice
from canalwright.planning.doubt import Draws
from canalwright.planning.unpressed import reached, unpressed
from canalwright.protocol import Press
from canalwright.protocol.acts import TOUCH

TRAY = casefile.generic_tray()
FEW = Choices(draws=64)


@settings(max_examples=15, deadline=None)
@given(
    tooth=st.sampled_from((11, 13, 14, 15, 16, 26, 31, 33, 36, 44, 47)),
    number=st.integers(0, 400),
    kept=st.sets(st.sampled_from(range(len(TRAY.pluggers))), min_size=1),
    rounds=st.one_of(st.none(), st.integers(1, 5)),
)
def test_each_round_is_pressed_or_the_plan_says_that_it_is_not(
    tooth: int, number: int, kept: set[int], rounds: int | None
) -> None:
    canal = draw_tooth(Kind(tooth), 77, number)[0]
    draws = Draws.of(canal, FEW)
    tools = fitting.fit_tools(
        draws, replace(TRAY, pluggers=tuple(TRAY.pluggers[i] for i in sorted(kept))), FEW, brief=True
    )
    try:
        steps = planner._steps(draws, tools, rounds)
    except PlanError:
        return
    limits = {p.plugger: p for p in tools.pluggers}
    carrier = float(tools.carrier_reach.z[0])
    assert steps[-1].carrier_stop <= max(carrier + 0.25, canal.end + practice.REACH_TO_END) + 1e-9
    told = {int(f.message.split()[2]) for f in unpressed(_plan(canal.length.value, steps))}  # type: ignore[arg-type]
    for i, step in enumerate(steps, start=1):
        fitted = limits[step.plugger]
        assert step.pressed >= fitted.stop - 1e-9 >= float(fitted.reach.z[0]) - 1e-6, "never past the safe reach"
        packs = step.carrier_stop + practice.LEFT_BY_BITE - step.pressed
        assert packs >= TOUCH - 1e-3 or i in told
        loose = [p.plugger for p in tools.pluggers if p.stop <= step.bitten - practice.SETTLE + 1e-9]
        assert not loose or step.plugger == loose[0], "the widest that packs the whole way"


def _plan(length: float, steps: tuple[planner.Step, ...]) -> SimpleNamespace:
    """So much of a plan as the finding reads."""

    def depth(z: float) -> SimpleNamespace:
        return SimpleNamespace(value=length - z)

    return SimpleNamespace(
        rounds=[
            SimpleNamespace(
                number=i, plugger=s.plugger, carrier_stop=depth(s.carrier_stop), plugger_stop=depth(s.pressed)
            )
            for i, s in enumerate(steps, start=1)
        ]
    )


def test_every_round_of_the_demo_tooth_is_packed_by_the_whole_way(plans: dict[str, Plan]) -> None:
    """The last plugger of the mesiobuccal canal gets to 5.0 mm from the end: the carrier stops there too, not half a millimetre below."""
    for plan in plans.values():
        for r in plan.rounds:
            packs = r.plugger_stop.value - (r.carrier_stop.value - practice.LEFT_BY_BITE)
            assert packs == pytest.approx(practice.SETTLE)
        deepest = plan.canal.working_length - plan.rounds[-1].carrier_stop.value
        assert practice.CLEARANCE_TO_END - 1e-6 <= deepest <= practice.REACH_TO_END + 1e-6
        assert not {"press-out-of-reach", "press-hardly-reaches"} & {f.code for f in plan.findings}


def test_a_round_that_no_plugger_presses_is_named_and_counts_as_unpressed(case: Case, tray: Tray) -> None:
    """Thick pluggers by the clinician's own choice: the rounds stay, the last is told of, and the filling foretold has no press there."""
    low, middle, top = (p.name for p in tray.pluggers if 0.9 <= p.profile.tip <= 1.15)
    plan = planning.plan(case.canal("distal"), tray, replace(FEW, rounds=3, pluggers=(top, middle, low)))
    told = [f for f in plan.findings if f.code == "press-out-of-reach"]
    assert told and f"round {len(plan.rounds)} " in told[0].message + told[-1].message
    assert plan.rounds[-1].carrier_stop.value == pytest.approx(plan.canal.working_length - practice.CLEARANCE_TO_END)
    presses = planning.simulate(plan).compaction.presses
    assert presses[len(plan.rounds) - 1].pressure[0] == 0.0
    assert len(presses) == sum(isinstance(act, Press) for act in plan.protocol.acts)


def test_half_the_presses_miss_a_surface_that_they_are_set_to_end_at() -> None:
    assert reached(0.0) == 0.5
    assert reached(practice.SETTLE) == pytest.approx(0.92, abs=0.005)
    assert reached(-practice.SETTLE) == pytest.approx(1 - reached(practice.SETTLE))
