"""Answers of a study: exact intervals, honest verdicts, paired differences."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from canalwright.cohort import answers


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 3000), st.floats(0, 1))
def test_shares_are_clopper_and_pearson(count: int, part: float) -> None:
    hits = round(part * count)
    found = answers.share(hits, count)
    low, high = proportion_confint(hits, count, method="beta")
    assert (found.low, found.high) == pytest.approx(
        (np.nan_to_num(low, nan=0.0), np.nan_to_num(high, nan=1.0)), abs=1e-12
    )
    assert found.low <= found.value <= found.high


def test_verdicts_wait_for_the_whole_interval() -> None:
    assert answers.Estimate(0.995, 0.991, 0.998, 2000).verdict(0.99) == "yes"
    assert answers.Estimate(0.98, 0.97, 0.989, 2000).verdict(0.99) == "no"
    assert answers.Estimate(0.993, 0.985, 0.997, 300).verdict(0.99) == "not decided"


def test_few_teeth_do_not_prove_all_teeth() -> None:
    found = answers.mean_chance(np.ones(60))
    assert found.value == found.high == 1.0
    assert 0.93 < found.low < 0.95
    assert answers.mean_chance(np.full(24, 0.998)).verdict(0.99) == "not decided"


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0, 1), min_size=2, max_size=200))
def test_a_mean_chance_is_never_surer_than_whole_teeth(chances: list[float]) -> None:
    found = answers.mean_chance(np.array(chances))
    below, above = (answers.share(int(f(sum(chances))), len(chances)) for f in (np.floor, np.ceil))
    assert below.low - 1e-12 <= found.low <= found.value <= found.high <= above.high + 1e-12


def _row(tooth: str, protocol: str, **values: Any) -> dict[str, Any]:
    usual = {
        "rise": 5.0,
        "rise_95": 8.0,
        "over": 0.0,
        "front": 4.0,
        "seconds": 60.0,
        "reach": True,
        "reach_chance": 1.0,
        "plugger": "p",
    }
    return {"tooth": tooth, "group": "g", "canal": "c", "protocol": protocol, "refused": None, **usual, **values}


def test_the_worst_canal_of_a_tooth_counts() -> None:
    rows = [_row(f"t{i}", "a", canal=c, rise=12.0 if (i, c) == (0, "y") else 5.0) for i in range(10) for c in "xy"]
    (found,) = answers.heat(rows, 10.0)
    assert found.expected.value == pytest.approx(0.9) and found.highest == 12.0


def test_a_protocol_that_cannot_be_done_is_no_success() -> None:
    rows = [_row("t0", "a"), {"tooth": "t1", "group": "g", "canal": "c", "protocol": "a", "refused": "no room"}]
    (warm,) = answers.heat(rows, 10.0)
    (near,) = answers.reach(rows)
    assert warm.refused == near.refused == 1
    assert warm.expected.value == near.teeth.value == 0.5


def test_gains_are_paired_within_each_tooth() -> None:
    rows = [_row(f"t{i}", "a", front=4.0 + i, rise=float(i)) for i in range(8)]
    rows += [_row(f"t{i}", "b", front=3.5 + i, rise=i + 2.0) for i in range(8)]
    (found,) = answers.gains(rows)
    assert (found.before, found.after) == ("a", "b")
    assert (found.depth.value, found.depth.low, found.depth.high) == pytest.approx((0.5, 0.5, 0.5))
    assert found.rise.value == pytest.approx(2.0) and found.void is None
