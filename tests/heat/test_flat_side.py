"""Protects the safety number of an oval canal: the (r, z) model answers for its flat side, and never less hot than three dimensions."""

from dataclasses import replace

import numpy as np
import pytest

from canalwright import heat
from canalwright.anatomy.lumen import Lumen
from canalwright.heat import example, solid
from canalwright.heat.batch import shifted
from canalwright.heat.solid import Voxels

PROTOCOL = shifted(example.protocol(1, 0), -4.0)
CELLS = Voxels(voxel=0.12, along=0.25, growth=1.5, widest=0.3, tolerance=0.2)


def oval(ratio: float, wall: float) -> Lumen:
    """An invented canal `ratio` times as wide one way as the other."""
    lumen = example.lumen(length=12.0, wall=wall)
    return replace(lumen, major=lumen.minor * ratio, area=lumen.area * ratio)


@pytest.mark.parametrize(("ratio", "wall", "opposite"), [(1.0, 1.0, 1.0), (2.0, 0.8, 2.0), (3.0, 1.5, 1.0)])
def test_the_flat_side_in_three_dimensions(ratio: float, wall: float, opposite: float) -> None:
    """Three dimensions give 0.88 to 1.03 of it, whatever stands opposite (found on a table of 24 roots: 0.91 to 1.00, biased to heat;
    the rest is the grids'). The canal of equal area would be a fifth to a third too cool at 2 and 3 to 1."""
    lumen = oval(ratio, wall)
    walls = solid.eccentric(lumen, wall * opposite, 90.0) if opposite > 1 else None
    truth = solid.simulate(
        solid.from_lumen(lumen, walls=walls, voxels=CELLS), PROTOCOL, voxels=CELLS, every=1e9
    ).surface_rise
    ours = heat.simulate_flat_side(lumen, PROTOCOL, every=1e9)
    assert 0.88 < truth / ours.surface_rise < 1.03
    if ratio > 1.5:
        assert heat.simulate(lumen, PROTOCOL, every=1e9).surface_rise < 0.87 * truth


def test_axis_and_surface_come_from_two_runs_and_draw_0_is_the_story() -> None:
    lumen = oval(2.0, 1.0)
    both, axis = heat.simulate_flat_side(lumen, PROTOCOL), heat.simulate(lumen, PROTOCOL)
    side = heat.simulate(heat.least_width(lumen), PROTOCOL)
    assert np.array_equal(both.axis, axis.axis)
    assert np.array_equal(both.peak_rise, side.peak_rise)
    assert both.deepest_front == axis.deepest_front
    assert both.surface.shape == axis.surface.shape
    assert np.abs((both.surface - both.surface[0]).max(axis=0) - side.peak_rise).max() < 0.3
    assert both.acts[5].surface_rise == side.acts[5].surface_rise
    draws = heat.simulate_many_flat_side(
        lumen, PROTOCOL, {"carrier_offset": np.zeros(2)}, resolution=heat.Resolution.standard()
    )
    assert draws.surface_rise[0] == pytest.approx(both.surface_rise, abs=0.02)
    assert draws.front[0, 4] == pytest.approx(axis.acts[4].front, abs=1e-6)


def test_a_round_canal_runs_once() -> None:
    lumen = oval(1.0, 1.0)
    assert heat.least_width(lumen) is lumen
    assert heat.simulate_flat_side(lumen, PROTOCOL).surface_rise == heat.simulate(lumen, PROTOCOL).surface_rise
