"""Protects: mass is kept through whole protocols; hotter, harder and wider never fill less; the answers are sane.

Monotone in heat holds for a plugger that fits: one that is too small lets soft gutta-percha slip past, and then more heat can
press less (`test_a_loose_plugger_...` keeps that in sight).
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright import compaction
from canalwright.compaction.branches import CELLS, advance_gutta
from canalwright.compaction.materials import table
from canalwright.instruments import Cone, Profile
from canalwright.protocol import Bite, Press, Protocol
from canalwright.quantities import draw
from tests.compaction import scene

calm = settings(deadline=None, max_examples=12)
CANAL, PLAN = scene.lumen(), scene.protocol()
PORTALS = [scene.lateral(3.0), scene.lateral(6.5, 0.15), scene.lateral(9.0, 0.2)]
HEAT = scene.temperatures(CANAL, PLAN)
SNUG = 0.999
FITTING = scene.protocol(snug=SNUG)


def run(plan: Protocol = PLAN, warm: float = 1.0, canal=CANAL, portals=PORTALS, **options):  # type: ignore[no-untyped-def]
    return compaction.simulate(canal, portals, plan, scene.temperatures(canal, plan, warm), **options)


@calm
@given(
    st.floats(2, 60), st.floats(0.6, 1.1), st.floats(0.5, 1.4), st.floats(1.0, 2.5), st.floats(0.0, 1.5), st.booleans()
)  # fmt: skip
def test_mass_is_kept(force: float, snug: float, warm: float, oval: float, tip: float, sealed: bool) -> None:
    canal = scene.lumen(oval=oval)
    plan = scene.protocol(force=force, snug=snug, tip=tip)
    sample = draw(compaction.readings(portals=PORTALS), 15, 3)
    story = compaction.simulate_many(
        canal, PORTALS, plan, scene.temperatures(canal, plan, warm), sample, sealed=sealed, foramen=0.5
    )
    assert story.ledger.gap.max() < 1e-3
    for part in (story.fill.gutta, story.fill.sealer, story.fill.void):
        assert part.min() >= 0
        assert part.max() <= 1 + 1e-9
    assert np.allclose(story.fill.gutta + story.fill.sealer + story.fill.void, 1)


@calm
@given(st.floats(3, 30), st.floats(1.0, 3.0))
def test_harder_never_fills_less(force: float, more: float) -> None:
    soft, hard = run(scene.protocol(force=force)), run(scene.protocol(force=force * more))
    assert np.all(hard.gutta_length >= soft.gutta_length - 1e-6)
    assert np.all(hard.pressure.max(0) >= soft.pressure.max(0) - 1e-9)


@calm
@given(st.floats(0.6, 1.2), st.floats(0.0, 0.4))
def test_hotter_never_fills_less_under_a_plugger_that_fits(warm: float, more: float) -> None:
    cool, hot = run(FITTING, warm), run(FITTING, warm + more)
    assert np.all(hot.gutta_length[:, 1:] >= cool.gutta_length[:, 1:] - 1e-6)


@calm
@given(st.floats(0.05, 0.3), st.floats(1.0, 2.0), st.floats(2, 10))
def test_a_wider_branch_never_fills_less(width: float, more: float, z: float) -> None:
    narrow, wide = (run(portals=[scene.lateral(z, d)]) for d in (width, width * more))
    assert wide.gutta_length[0, 1] >= narrow.gutta_length[0, 1] - 1e-6


@settings(deadline=None)
@given(
    st.floats(0.5, 30), st.floats(1, 3), st.floats(40, 90), st.floats(0, 20), st.floats(36, 55), st.floats(0.05, 0.3)
)  # fmt: skip
def test_branch_is_monotone_in_pressure_heat_and_width(
    p: float, harder: float, core: float, hotter: float, wall: float, d: float
) -> None:
    m = table({})[0]

    def come(p: float, core: float, wall: float, d: float) -> float:
        memory = np.full(CELLS, -1.0), np.zeros(CELLS)
        return advance_gutta(p, 3.0, 0.0, core, 1.0, wall, wall - 1, d, 0.8, False, 1.5, 1.5, 0.0, *memory, m)

    base = come(p, core, wall, d)
    slack = 1e-3 + 0.02 * base
    assert come(p * harder, core, wall, d) >= base - slack
    assert come(p, core + hotter, wall + 0.3 * hotter, d) >= base - slack
    assert come(p, core, wall, min(d * harder, 0.6)) >= base - slack


def test_a_loose_plugger_presses_less_and_lets_material_past() -> None:
    tight, loose = run(FITTING), run(scene.protocol(snug=0.6))
    assert loose.presses[0].pressure[0] < tight.presses[0].pressure[0]
    assert loose.presses[0].slipped[0] > 0.5
    assert any("slips past" in event.what for event in loose.events)


def test_a_binding_plugger_wedges_the_root_and_is_said() -> None:
    bound = run(scene.protocol(snug=1.2))
    assert any("binds" in event.what for event in bound.events)
    assert bound.presses[0].binds.any()
    assert bound.wall_stress.max() > run(FITTING).wall_stress.max() * 0.1


def test_a_cold_protocol_moves_hardly_any_gutta_percha() -> None:
    """Cold it yields a little under the full force of the plugger, but enters no branch."""
    story = compaction.simulate(CANAL, PORTALS, PLAN, scene.temperatures(CANAL, PLAN, 0.0))
    assert story.gutta_length.max() < 0.15


def test_a_longer_hold_takes_up_more_of_the_contraction() -> None:
    short, long = run(scene.protocol(hold=2, last=2)), run(scene.protocol(hold=20, last=30))
    for a, b in zip(short.presses, long.presses, strict=True):
        reached = a.loss[0] > 1e-3
        assert np.all(b.taken_up[0][reached] >= a.taken_up[0][reached] - 1e-9)
    assert long.fill.share("void")[0] <= short.fill.share("void")[0]


def test_portion_needs_what_cooling_took_and_no_press_gave_back() -> None:
    pressed, left = run(), run(scene.protocol(loads=False))
    for a, b in zip(pressed.portions, left.portions, strict=True):
        assert 0.8 * b.contraction[0] < b.to_add[0] <= b.contraction[0]
        assert a.to_add[0] < b.to_add[0]
        assert a.to_add[0] + a.taken_up[0] == pytest.approx(a.contraction[0])
        assert 0.02 < a.contraction[0] / a.volume[0] < 0.08


def test_draw_zero_is_the_nominal_run() -> None:
    sample = draw(compaction.readings(portals=PORTALS), 7, 5)
    many = compaction.simulate_many(CANAL, PORTALS, PLAN, HEAT, sample)
    one = compaction.simulate(CANAL, PORTALS, PLAN, HEAT)
    assert np.allclose(many.gutta_length[0], one.gutta_length[0])
    assert np.allclose(many.fill.void[0], one.fill.void[0])
    per_draw = compaction.simulate_many([CANAL] * 8, PORTALS, PLAN, [HEAT] * 8, sample)
    assert np.allclose(per_draw.gutta_length, many.gutta_length)


def test_story_over_time_ends_as_it_says() -> None:
    story = run()
    assert story.portal_gutta[-1] == pytest.approx(story.gutta_length[0])
    assert np.all(np.diff(story.portal_gutta, axis=0) >= -1e-12)
    assert np.all(np.diff(story.sealer_beyond) >= -1e-12)
    assert story.sealer_beyond[-1] == pytest.approx(story.puff[0].sum())
    assert [event.time for event in story.events] == sorted(event.time for event in story.events)
    shares = story.gutta + story.sealer + story.void
    assert shares.max() <= 1.05


def test_risk_past_the_terminus_names_its_cause() -> None:
    """A wide foramen with a cone thinner than it, hot to the end, pressed hard."""
    canal = scene.lumen(size=0.7)
    plan = scene.protocol(size=0.7, force=60, cone=Cone("50", Profile.uniform(0.5, 0.06)), tip=0.2)
    heat = scene.temperatures(canal, plan, 1.6)
    hot = replace(heat, axis=np.maximum(heat.axis, np.where(heat.axis[:, -60:-59] > 50, 65.0, 0.0)))
    sample = draw(compaction.readings(), 31, 4)
    found = compaction.extrusion(canal, [], plan, hot, sample)
    assert found.chance.value > 0.1
    assert found.cause in {"hard press", "deep heat", "large foramen", "loose cone"}
    assert found.causes[0].chance.value < found.chance.value
    calm_case = compaction.extrusion(scene.lumen(size=0.25), [], scene.protocol(force=5, size=0.25), HEAT, sample)
    assert calm_case.chance.value < 0.05


def test_bad_input_is_named() -> None:
    with pytest.raises(ValueError, match="begins with placing the cone"):
        run(Protocol(PLAN.acts[1:]))
    with pytest.raises(ValueError, match="lies outside the lumen"):
        run(portals=[scene.lateral(40.0)])
    sample = draw(compaction.readings(), 3, 1)
    with pytest.raises(ValueError, match="give one, or one a draw"):
        compaction.simulate_many([CANAL] * 2, [], PLAN, HEAT, sample)
    with pytest.raises(ValueError, match="evenly spaced"):
        run(canal=replace(CANAL, z=CANAL.z**1.1))


def test_a_plugger_that_stops_above_the_filling_presses_nothing() -> None:
    """Above it by more than a stop is set by, a press is as good as none; at the surface it presses as it did."""
    last = next(i for i, act in enumerate(PLAN.acts) if isinstance(act, Press) and act.stop == 5.0)

    def ending_at(stop: float) -> compaction.CompactionStory:
        acts = list(PLAN.acts)
        acts[last] = replace(acts[last], stop=stop)
        return run(Protocol(tuple(acts)))

    bitten = max(act.level for act in PLAN.acts[last - 3 : last] if isinstance(act, Bite))
    on, above = (ending_at(bitten + gap).presses[2] for gap in (0.2, 0.3))
    assert on.pressure[0] > 1.0 and on.reached.any()
    assert above.pressure[0] == 0 and not above.reached.any() and above.surface[0] == pytest.approx(bitten, abs=0.11)
    told = [event.what for event in ending_at(bitten + 0.3).events]
    assert told.count("plugger stops above the filling: nothing is pressed") == 1
    assert told.count("press") == sum(isinstance(act, Press) for act in PLAN.acts) - 1


def test_presses_without_time_or_protocols_without_presses_do_no_harm() -> None:
    brief = Protocol(tuple(replace(a, seconds=0.0) if isinstance(a, Press) else a for a in PLAN.acts))
    assert run(brief).gutta_length.max() == 0
