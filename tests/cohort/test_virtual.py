"""Virtual teeth: the same to the bit by seed and number alone, possible teeth of every kind, spread as the tables say."""

from typing import cast

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.anatomy import Tooth, averages
from canalwright.cohort import virtual
from canalwright.cohort.virtual import Kind, Shaping, draw_measurements, draw_tooth

KINDS = [11, 12, 13, 14, 15, 16, 17, 18, 31, 32, 33, 34, 35, 36, 37, 38]


@settings(max_examples=25, deadline=None)
@given(st.sampled_from(KINDS), st.integers(0, 2**31), st.integers(0, 10**6))
def test_every_kind_gives_possible_teeth_and_the_same_again(code: int, seed: int, number: int) -> None:
    kind = Kind(code)
    made = draw_tooth(kind, seed, number)
    assert [c.name for c in made] == list(averages.tooth_averages(Tooth(code)).usual)
    assert draw_measurements(kind, seed, number) == draw_measurements(kind, seed, number)
    for canal in made:
        assert (canal.native.minor > 0).all() and (canal.native.major >= canal.native.minor - 1e-12).all()
        assert (canal.native.wall > 0).all() and canal.orifice < canal.length.value


def test_a_canal_does_not_change_with_the_others_asked_for() -> None:
    alone = draw_measurements(Kind(46, ("distal",)), 3, 17)[0]
    among = next(m for m in draw_measurements(Kind(46), 3, 17) if m.canal == "distal")
    assert alone == among


def test_teeth_of_other_numbers_and_seeds_differ() -> None:
    lengths = {
        draw_measurements(Kind(46, ("MB",)), seed, n)[0].working_length.value for seed in (1, 2) for n in range(20)
    }
    assert len(lengths) == 40


def test_spread_is_that_of_the_tables() -> None:
    """Mean within 4 standard errors, deviation within a fifth (cut at 2.5 deviations it is 5 % less)."""
    walls, widths = [], []
    for n in range(600):
        m = draw_measurements(Kind(46, ("MB",)), 11, n)[0]
        walls.append(float(np.interp(7.0, *np.array(m.walls).T)))
        widths.append(m.widths[0][1])
    for values, mean, deviation in ((walls, 1.13, 0.21), (widths, 0.24, 0.07)):
        assert np.mean(values) == pytest.approx(mean, abs=4 * deviation / np.sqrt(600) + 0.02)
        assert np.std(values) == pytest.approx(deviation, rel=0.25)


def test_canals_of_one_tooth_go_together_as_the_table_says() -> None:
    pairs = np.array(
        [[np.log(dict(m.walls)[3.0]) for m in draw_measurements(Kind(46, ("MB", "D")), 4, n)] for n in range(600)]
    )
    together = virtual.correlations()["wall"]
    assert np.corrcoef(pairs.T)[0, 1] == pytest.approx(together, abs=0.12)


def test_every_spread_has_a_source() -> None:
    for code in KINDS:
        assert all(s.source and s.deviation >= 0 for s in virtual.spreads(Kind(code)))


def test_an_unknown_canal_is_refused_with_those_there_are() -> None:
    with pytest.raises(ValueError, match="lower first molar is known to have mesiobuccal"):
        draw_tooth(Kind(46, ("palatal",)), 1, 1)


@settings(max_examples=50, deadline=None)
@given(st.floats(0.06, 0.9), st.integers(0, 6))
def test_the_finishing_file_is_an_iso_size_within_its_bounds(width: float, above: int) -> None:
    chosen = Shaping(above=above, least=25, most=60).choose(width)
    assert 25 <= chosen <= 60
    assert cast(int, Shaping(size=40).choose(width)) == 40
