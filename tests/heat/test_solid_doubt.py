"""Protects the intervals of the solid model: few runs in three dimensions with (r, z) beside them tell what many runs tell, and what is
scaled is scaled as it should be."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.anatomy.lumen import Lumen
from canalwright.heat import Materials, example, readings, solid
from canalwright.heat.batch import shifted
from canalwright.heat.solid import Solid, SolidDoubt, SolidStory, Voxels
from canalwright.heat.solid.dose import DoseCurve
from canalwright.heat.solid.doubt import carried, crossing, spread_evenly
from canalwright.heat.solid.moved import halved, materials_of, moved
from canalwright.heat.solid.search import deepest
from canalwright.quantities import Origin, Reading, Source, draw

CELLS = Voxels(voxel=0.18, along=0.5, growth=1.7, widest=0.6, outside=2.5, tolerance=0.4)
PROTOCOL = shifted(example.protocol(1, 0), -7.0)
OURS = Source(Origin.ASSUMED, "invented for this test")
INPUTS = {
    **readings(),
    "wall": Reading(0.0, 0.15, "mm", OURS),
    "width": Reading(0.0, 0.08, "mm", OURS),
    "length": Reading(0.0, 0.3, "mm", OURS),
}


@cache
def lumen() -> Lumen:
    return example.lumen(length=9.0, wall=1.0)


@cache
def root() -> Solid:
    return solid.from_lumen(lumen(), walls=solid.eccentric(lumen(), 2.0), voxels=CELLS)


@cache
def story() -> SolidStory:
    return solid.simulate(root(), PROTOCOL, voxels=CELLS, film=True)


@cache
def draws() -> dict[str, np.ndarray]:
    sample = draw(INPUTS, 48, 3)
    return {name: sample[name] for name in INPUTS}


@cache
def doubt() -> SolidDoubt:
    act, pause = deepest(PROTOCOL)
    return solid.doubt(root(), lumen(), PROTOCOL, story(), draws(), runs=12, act=act, pause=pause, voxels=CELLS)


def brute(d: int) -> tuple[float, float, float, float]:
    values = {name: float(draws()[name][d]) for name in INPUTS}
    found = solid.simulate(
        moved(root(), values["wall"], values["width"]), shifted(PROTOCOL, values["length"]),
        materials=materials_of(Materials(), values), voxels=CELLS, every=1e9, wide=False,
    )  # fmt: skip
    return (
        found.surface_rise, found.bone_peak - 37.0, float(found.surface.above_47.max()), float(found.surface.cem43.max()),
    )  # fmt: skip


def test_twelve_runs_tell_what_all_draws_tell() -> None:
    """Each interval holds nine tenths of what 48 runs in three dimensions give, as far as 48 can tell (binomial: 38 to 48 of them)."""
    with ThreadPoolExecutor() as pool:
        all_runs = np.array(list(pool.map(brute, range(1, 49))))
    for name, values in zip(("rise", "bone", "above_47", "cem43"), all_runs.T, strict=True):
        low, high = doubt().interval(name)
        assert 38 <= np.sum((values >= low - 1e-9) & (values <= high + 1e-9)) <= 48, name
    low, high = doubt().interval("rise")
    assert np.log(high / low) == pytest.approx(np.log(np.divide(*np.percentile(all_runs[:, 0], (95, 5)))), rel=0.3)
    assert np.corrcoef(np.log(all_runs[:, 0]), np.log(doubt().rise[1:]))[0, 1] > 0.9


def test_the_story_is_the_nominal_draw_and_limits_follow_the_rise() -> None:
    sure = doubt()
    assert sure.rise[0] == pytest.approx(story().surface_rise)
    assert sure.bone[0] == pytest.approx(story().bone_peak - 37.0, rel=1e-6)
    assert sure.interval("rise")[0] < sure.rise[0] < sure.interval("rise")[1]
    assert np.corrcoef(sure.rise, sure.activation)[0, 1] < 0
    assert np.all(sure.activation >= 0)
    assert sum(sure.acts.values()) == pytest.approx(1.0)
    needs = sure.rise > 12.0
    assert np.all(sure.pause[needs] > 0)


def test_few_draws_are_refused() -> None:
    with pytest.raises(ValueError, match="at least 8 draws"):
        solid.doubt(root(), lumen(), PROTOCOL, story(), {n: v[:4] for n, v in draws().items()}, voxels=CELLS)


def test_dose_of_the_story_itself() -> None:
    curve = DoseCurve.of(story())
    worst = story().surface
    assert curve.above(np.array(1.0)) == pytest.approx(float(worst.above_47.max()), abs=0.3)
    assert curve.dose(np.array(1.0)) == pytest.approx(float(worst.cem43.max()), rel=0.1)
    assert np.all(np.diff(curve.minutes) >= 0)
    assert curve.scale_of(minutes=curve.dose(np.array([0.8, 1.3]))) == pytest.approx([0.8, 1.3], rel=0.02)


@settings(max_examples=15, deadline=None)
@given(st.floats(0.5, 1.5), st.floats(-0.2, 0.2))
def test_a_line_of_logarithms_is_carried_exactly(slope: float, shift: float) -> None:
    guess = np.exp(np.linspace(-1, 1, 33))
    at = np.array([0, *spread_evenly(guess, 8)])
    answer = np.exp(shift) * guess**slope
    found, residual = carried(guess, at, answer[at], float(answer[0]))
    assert found == pytest.approx(answer, rel=1e-6)
    assert residual == pytest.approx(0.0, abs=1e-9)


def test_crossing_of_a_limit() -> None:
    seconds, rises = np.array([0.0, 1.0, 2.0, 4.0]), np.array([2.0, 5.0, 8.0, 14.0])
    assert crossing(seconds, rises, np.array([1.0, 5.0, 20.0])) == pytest.approx([0.0, 1.0, 4.0])


def test_half_of_the_dentine_is_gone() -> None:
    """On a round root with a wall of 1 to 2 mm: the surface lies half as far out, on one side only where that was asked."""
    thin, side = halved(root()), halved(root(), 0.0)
    band = (root().station > 2.0) & (root().station < 8.0) & (np.abs(root().own) < 0.3)
    left = np.asarray(thin.own)[band] - np.asarray(root().own)[band]
    assert left == pytest.approx((np.asarray(root().canal - root().own) / 2)[band], abs=1e-3)
    back = band & (np.cos(root().angle) < -0.2)
    assert np.asarray(side.own)[back] == pytest.approx(np.asarray(root().own)[back], abs=1e-3)
    thicker = moved(root(), 0.3, 0.1)
    assert np.asarray(thicker.own)[band] == pytest.approx(np.asarray(root().own)[band] - 0.3, abs=1e-3)
    assert replace(thicker).bore == pytest.approx(root().bore + 0.05)
