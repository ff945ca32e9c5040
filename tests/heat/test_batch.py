"""Protects: many draws are the same runs as single ones, and each name moves what it names."""

import numpy as np
import pytest

from canalwright.heat import Materials, Resolution, readings, simulate, simulate_many
from canalwright.heat.example import lumen, protocol
from canalwright.quantities import draw

SHORT = protocol(1, 0)


def test_nominal_draw_is_the_single_run() -> None:
    sample = draw(readings(), 4, seed=3)
    draws = simulate_many(lumen(), SHORT, {name: sample[name] for name in sample.readings})
    single = simulate(lumen(), SHORT, resolution=Resolution.quick())
    np.testing.assert_allclose(draws.peak_rise[0], single.peak_rise, rtol=1e-9)
    assert draws.front[0].tolist() == [a.front for a in single.acts]
    assert draws.surface_rise.shape == (5,) and draws.act_rise.shape == (5, len(SHORT.acts))
    third = simulate(lumen(), SHORT, resolution=Resolution.quick(), materials=Materials.drawn(sample, 3))
    np.testing.assert_allclose(draws.peak_rise[3], third.peak_rise, rtol=1e-9)


def test_wall_width_and_length_move_the_geometry() -> None:
    offsets = np.array([-0.3, 0.0, 0.3])
    wall = simulate_many(lumen(), SHORT, {"wall": offsets})
    assert np.all(np.diff(wall.surface_rise) < 0), "a thicker wall is cooler outside"
    length = simulate_many(lumen(), SHORT, {"length": offsets})
    heat = next(i for i, act in enumerate(SHORT.acts) if type(act).__name__ == "Heat")
    assert np.all(np.diff(length.front[:, heat]) > 0), "a stop further up leaves the front further up"
    assert simulate_many(lumen(), SHORT, {"width": offsets}).surface_rise.shape == (3,)


def test_refuses_what_it_does_not_know() -> None:
    with pytest.raises(ValueError, match="draws no gp_smell"):
        simulate_many(lumen(), SHORT, {"gp_smell": np.ones(2)})
    with pytest.raises(ValueError, match="same length"):
        simulate_many(lumen(), SHORT, {"wall": np.zeros(2), "width": np.zeros(3)})


def test_every_reading_has_a_source_and_a_spread() -> None:
    for name, reading in readings().items():
        assert reading.source.detail and reading.error > 0, name
        assert getattr(Materials(), name) == reading.value
