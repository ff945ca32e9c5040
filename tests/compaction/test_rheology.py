"""Protects: softness lags, flow stiffens on cooling, the volume curve closes, the table keeps its names."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.compaction import readings
from canalwright.compaction.materials import COLUMNS, CONTRACTION, YIELD_COLD, YIELD_SOFT, portal_diameters, table
from canalwright.compaction.rheology import consistency, heating, lag, specific_volume, viscosity, yield_stress
from canalwright.quantities import Reading, draw
from tests.compaction.scene import lateral

M = table({})[0]


@settings(deadline=None)
@given(st.floats(0, 1), st.floats(20, 120), st.floats(20, 120))
def test_softness_lags_and_stays_between_its_branches(s: float, first: float, second: float) -> None:
    once = float(lag(s, first, M))
    assert 0 <= once <= 1
    assert lag(once, first, M) == pytest.approx(once, abs=1e-12)
    if second > first:
        assert lag(once, second, M) >= once - 1e-12
    assert lag(1.0, second, M) >= lag(0.0, second, M)


def test_melting_and_freezing_lie_apart() -> None:
    """At 50 C a cone that comes from the cold is mostly stiff, one that comes from the melt is soft."""
    assert heating(50.0, M) < 0.3
    assert lag(1.0, 50.0, M) > 0.9


@settings(deadline=None)
@given(st.floats(0, 1), st.floats(0, 1), st.floats(37, 150), st.floats(0, 40))
def test_hotter_and_softer_flows_more_easily(s: float, more: float, t: float, warmer: float) -> None:
    softer = min(s + more, 1.0)
    assert yield_stress(softer, M) <= yield_stress(s, M) * (1 + 1e-12)
    assert consistency(t + warmer, softer, M) <= consistency(t, s, M) * (1 + 1e-12)


def test_yield_runs_from_cold_to_molten() -> None:
    assert yield_stress(0.0, M) == pytest.approx(M[YIELD_COLD])
    assert yield_stress(1.0, M) == pytest.approx(M[YIELD_SOFT])
    assert viscosity(1.0, 80.0, 1.0, M) == pytest.approx(0.1 + 0.0316, rel=1e-3)


def test_volume_from_75_to_37_is_the_contraction() -> None:
    frozen = lag(1.0, 37.0, M)
    assert specific_volume(37.0, frozen, M) == pytest.approx(1.0)
    assert specific_volume(75.0, 1.0, M) - 1 == pytest.approx(M[CONTRACTION], rel=1e-9)


def test_table_holds_draws_by_name_and_defaults_for_what_is_missing() -> None:
    portals = [lateral(3.0), lateral(6.0, 0.2)]
    named = readings("silicone", portals)
    sample = draw(named, 7, 1)
    rows = table(sample)
    assert rows.shape[0] == 8
    assert np.allclose(rows[:, COLUMNS.index("gutta.index")], sample["gutta.index"])
    assert portal_diameters(sample, portals)[0] == pytest.approx([0.1, 0.2])
    other = table(draw({"x": Reading(1.0, 0.1, "mm")}, 3, 1))
    assert np.allclose(other, table({})[0])


def test_every_reading_says_where_it_comes_from() -> None:
    for name, reading in readings().items():
        assert reading.source.detail, name
        assert reading.error > 0, name


def test_an_unknown_sealer_is_wider_not_refused() -> None:
    assert readings("resin of tomorrow")["sealer.viscosity"].error > readings()["sealer.viscosity"].error
