"""Protects: the backfill stops where it must, its portions are small and join up, its volumes are right."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canalwright.casefile import Case
from canalwright.instruments import Needle
from canalwright.planning import practice
from canalwright.planning.backfill import backfill_top, lay_portions, volumes, widest_needle


@given(bottom=st.floats(2, 8), length=st.floats(0.31, 15))
def test_portions_join_up_and_stay_small(bottom: float, length: float) -> None:
    portions = lay_portions(bottom, bottom + length)
    assert portions[0][0] == pytest.approx(bottom)
    assert portions[-1][1] == pytest.approx(bottom + length)
    assert all(high - low <= practice.PORTION + 1e-6 for low, high in portions)
    assert all(a[1] == b[0] for a, b in itertools.pairwise(portions))


def test_volume_of_a_cone_is_that_of_the_frustum() -> None:
    """V = pi L (D2 + D d + d2) / 12: a 30/0.06 shape over 16 mm holds 8.610 mm3."""
    z = np.arange(0, 16.05, 0.1)
    width = (0.30 + 0.06 * z)[None]
    assert volumes(z, width, width, 0.0, 16.0)[0] == pytest.approx(8.610, abs=0.002)


def test_a_post_keeps_four_to_five_millimetres_below_it(case: Case) -> None:
    distal = case.canal("distal")
    top = backfill_top(distal, downpack_top=4.0)
    assert top.below_post == pytest.approx(practice.BELOW_POST)
    assert backfill_top(replace(distal, post=False), 4.0).reason == "crest of bone"


def test_the_widest_needle_that_gets_there_is_taken() -> None:
    thin, wide = Needle("25", 25, 0.514, 0.26), Needle("20", 20, 0.908, 0.603)
    assert widest_needle(((thin, 3.0), (wide, 8.0)), 8.0) == (wide, 8.0)
    assert widest_needle(((thin, 3.0), (wide, 8.0)), 4.0) == (thin, 3.0)
    assert widest_needle((), 4.0) is None
