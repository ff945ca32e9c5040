"""Protects: what `simulate` promises: shapes, acts, energy, and the answers that common sense expects."""

from dataclasses import FrozenInstanceError, replace

import numpy as np
import pytest

from canalwright.heat import HeatStory, Materials, Resolution, Surroundings, longest_safe_activation, simulate
from canalwright.heat.example import lumen, protocol
from canalwright.protocol import Heat, Inject, Pause, Protocol

QUICK = Resolution.quick()


@pytest.fixture(scope="module")
def story() -> HeatStory:
    return simulate(lumen(), protocol(), audit=True)


def test_shapes_and_read_only(story: HeatStory) -> None:
    n, t = len(story.z), len(story.time)
    assert story.axis.shape == story.surface.shape == (t, n)
    assert story.front.shape == story.top.shape == story.carrier_tip.shape == story.act.shape == (t,)
    assert story.peak_rise.shape == story.above_47.shape == story.cem43.shape == (n,)
    np.testing.assert_array_equal(story.z, lumen().z)
    assert np.all(np.diff(story.time) > 0) and story.time[-1] == pytest.approx(protocol().seconds)
    with pytest.raises(ValueError, match="read-only"):
        story.axis[0, 0] = 0.0
    with pytest.raises(FrozenInstanceError):
        story.z = story.axis  # type: ignore[misc]


def test_energy_balance_of_a_whole_protocol(story: HeatStory) -> None:
    """Sear, bites, cold pluggers, portions, phase change: the book closes to 0.1 per cent of what moved."""
    book = story.energy
    assert book is not None
    assert book.heater > 5.0 and abs(book.matter) > 1.0 and book.blood < 0 and book.surroundings < 0
    assert abs(book.gap) < 1e-3 * min(book.heater, book.gross)


def test_acts_say_what_happened(story: HeatStory) -> None:
    assert len(story.acts) == len(protocol().acts)
    heats = [a for a in story.acts if isinstance(a.act, Heat)]
    fronts = [a.front for a in heats]
    assert fronts == sorted(fronts, reverse=True), "each round goes deeper"
    for a in heats:
        assert isinstance(a.act, Heat)
        assert a.act.stop - 1.5 < a.front <= a.act.stop + 0.2, "heat travels about half a millimetre ahead of the tip"
    presses = [a.cooled for a in story.acts if type(a.act).__name__ == "Press"]
    assert all(c > 0 for c in presses)
    assert story.deepest_front == min(fronts)


def test_filling_falls_and_rises(story: HeatStory) -> None:
    assert story.top[0] == pytest.approx(0.0, abs=1e-9), "empty before the cone is placed"
    after_place = story.at(20.5)
    assert story.top[after_place] == pytest.approx(14.0, abs=0.2)
    assert story.top[story.at(100.0)] == pytest.approx(4.5, abs=0.2)
    assert story.top[-1] == pytest.approx(13.7, abs=0.2)
    hot = np.nanmax(story.carrier_temperature)
    assert 60 < hot < 330
    assert np.all(np.isnan(story.carrier_tip) | np.isnan(story.plugger_tip))


def test_initial_state_is_the_published_canal(story: HeatStory) -> None:
    assert story.surface[0].max() <= 37.0 + 1e-9
    assert story.axis[0, 80] == pytest.approx(Materials().canal_temperature, abs=0.3)


def test_nothing_happens_without_heat() -> None:
    still = replace(Materials(), canal_temperature=37.0, mouth_temperature=37.0)
    story = simulate(lumen(), Protocol((Pause(30.0),)), materials=still, resolution=QUICK)
    np.testing.assert_allclose(story.surface, 37.0, atol=1e-9)
    assert story.surface_rise == pytest.approx(0.0, abs=1e-9)
    assert np.all(story.above_47 == 0)


def test_blood_flow_cools_and_water_cools_more_than_air() -> None:
    def rise(surroundings: Surroundings, **m: float) -> float:
        return simulate(
            lumen(), protocol(), surroundings=surroundings, resolution=QUICK, materials=Materials.of(m)
        ).surface_rise  # fmt: skip

    lost = rise(Surroundings.tissue(), bone_perfusion=0.0, ligament_perfusion=0.0)
    assert rise(Surroundings.tissue(), bone_perfusion=0.01, ligament_perfusion=0.05) < lost
    assert rise(Surroundings.film(500.0)) < rise(Surroundings.film(15.0))


def test_coarse_grid_agrees_with_fine() -> None:
    """The quick grid is meant for draws: within 0.3 K at the root surface of the fine one."""
    coarse = simulate(lumen(), protocol(2, 1), resolution=QUICK)
    fine = simulate(lumen(), protocol(2, 1), resolution=Resolution(0.05, 0.0625, 1.15, 0.05))
    np.testing.assert_allclose(coarse.peak_rise, fine.peak_rise, atol=0.3)
    assert coarse.deepest_front == pytest.approx(fine.deepest_front, abs=0.2)


def test_until_stops_early_and_late() -> None:
    short = simulate(lumen(), protocol(), until=10.0, resolution=QUICK)
    assert short.time[-1] == pytest.approx(10.0) and len(short.acts) == 1
    late = simulate(
        lumen(), Protocol((Heat(protocol().acts[4].carrier, 8.0, 200.0, 2.0, 1.0),)), until=60.0, resolution=QUICK
    )  # type: ignore[union-attr]
    assert late.time[-1] == pytest.approx(60.0) and late.surface[-1].max() < late.surface.max()


def test_portion_arrives_hot_and_fills() -> None:
    needle = protocol().acts[16].needle  # type: ignore[union-attr]
    story = simulate(lumen(), Protocol((Inject(needle, 2.0, 6.0, 90.0, 3.0), Pause(1.0))), resolution=QUICK)
    assert story.top[-1] == pytest.approx(6.0, abs=0.15)
    assert 50 < story.axis[:, 50].max() < 90.1


def test_impossible_input_is_named() -> None:
    with pytest.raises(ValueError, match=r"act 1 \(Pause\): times must be 0 s or more"):
        simulate(lumen(), Protocol((Pause(-1.0),)))
    with pytest.raises(ValueError, match=r"act 2 \(Pause\): seconds is not a finite number"):
        simulate(lumen(), Protocol((Pause(1.0), Pause(float("nan")))))
    with pytest.raises(ValueError, match="wall of the lumen must be a positive number"):
        simulate(replace(lumen(), wall=lumen().wall * 0 - 1), protocol())
    with pytest.raises(ValueError, match="no property named gp_smell"):
        Materials.of({"gp_smell": 1.0})
    with pytest.raises(ValueError, match="radial of the heat grid must be a positive number"):
        Resolution(radial=0.0)


def test_longest_safe_activation_meets_the_limit() -> None:
    p = protocol(3, 0)
    found = longest_safe_activation(lumen(root=2.0), p, 12)
    assert 1.0 < found < 20.0
    acts = list(p.acts)
    acts[12] = replace(acts[12], seconds=found)  # type: ignore[type-var]
    rise = simulate(lumen(root=2.0), Protocol(tuple(acts)), resolution=QUICK).surface_rise
    assert rise == pytest.approx(10.0, abs=0.3)
    with pytest.raises(ValueError, match="only a Heat has an activation"):
        longest_safe_activation(lumen(), p, 0)
