"""Protects: draws follow their distributions, intervals cover what they say, shares add up, infinity is told honestly."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import rankdata

from canalwright.quantities import Origin, Quantity, Reading, Shape, Source, carried, draw
from canalwright.quantities.sample import _ranks

SUPPOSED = Source(Origin.ASSUMED, "a guess")


def test_an_interval_holds_ninety_per_cent_of_a_normal_reading() -> None:
    """5 and 95 % points of a normal distribution: mean -/+ 1.6449 standard deviations (any table)."""
    sample = draw({"a": Reading(10.0, 2.0, "mm")}, 4096, seed=3)
    q = sample.summarise(sample["a"], "mm")
    assert q.low == pytest.approx(10 - 1.6449 * 2, abs=0.03)
    assert q.high == pytest.approx(10 + 1.6449 * 2, abs=0.03)
    assert q.value == 10.0


def test_shares_of_a_sum_are_the_variances() -> None:
    sample = draw({"a": Reading(0, 1.0, "mm"), "b": Reading(0, 2.0, "mm", SUPPOSED)}, 2048, seed=1)
    shares = {c.name: c.share for c in sample.contributions(sample["a"] + sample["b"])}
    assert shares["a"] / shares["b"] == pytest.approx(0.25, abs=0.02)
    # A rank and a normal score correlate with sqrt(3 / pi), so that shares of ranks add up to 3 / pi = 0.955.
    assert sum(shares.values()) == pytest.approx(3 / np.pi, abs=0.01)
    assert sample.summarise(sample["a"] + sample["b"], "mm").supposed == pytest.approx(0.8, abs=0.03)


@given(st.lists(st.sampled_from([-1.5, 0.0, 0.25, 2.0, np.inf]) | st.floats(-9, 9), min_size=8, max_size=60))
def test_interval_and_shares_are_those_of_the_common_libraries_for_ranks_and_quantiles(values: list[float]) -> None:
    """scipy.stats.rankdata (ties share their mean rank) and numpy.quantile (the draw below, the draw above), to the bit."""
    output = np.array(values)
    sample = draw({"a": Reading(0, 1.0, "mm"), "b": Reading(0, 2.0, "mm")}, len(values) - 1, seed=1)
    q = sample.summarise(output, "mm")
    assert q.low == min(output[0], np.quantile(output[1:], 0.05, method="lower"))
    assert q.high == max(output[0], np.quantile(output[1:], 0.95, method="higher"))
    order = np.argsort(output[1:], kind="stable")
    assert np.array_equal(_ranks(output[1:][order], order), rankdata(output[1:]))


@given(
    value=st.floats(0.1, 50), error=st.floats(0, 5), shape=st.sampled_from(list(Shape)), seed=st.integers(0, 2**31 - 1)
)
def test_draws_keep_to_the_bounds(value: float, error: float, shape: Shape, seed: int) -> None:
    reading = Reading(value, error, "mm", shape=shape, least=value * 0.5, most=value * 1.5)
    values = draw({"x": reading}, 64, seed)["x"]
    assert values.min() >= reading.least - 1e-9
    assert values.max() <= reading.most + 1e-9
    assert values[0] == value


def test_a_skewed_reading_is_a_lognormal_from_its_least_value() -> None:
    """Median and quantiles by the definition, in numbers worked out apart; the long tail lies above."""
    values = Reading(0.0, 0.8, "K", shape=Shape.SKEWED, least=-25.0).quantile(np.array([0.05, 0.5, 0.95]))
    expected = -25 + 25 * np.exp(0.8 * np.array([-1.6448536, 0.0, 1.6448536]))
    assert values == pytest.approx(expected, abs=1e-5)


def test_an_unbounded_draw_leaves_the_interval_open_and_json_says_null() -> None:
    sample = draw({"a": Reading(0, 1.0, "mm")}, 100, seed=1)
    q = sample.summarise(np.where(sample["a"] > 1, np.inf, sample["a"]), "mm")
    assert q.high == np.inf
    assert json.loads(json.dumps(q.as_json()))["high"] is None


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Reading(1.0, -0.1, "mm"), "error of a reading"),
        (lambda: Reading(1.0, float("nan"), "mm"), "error of a reading"),
        (lambda: Reading(5.0, 1.0, "mm", least=6.0), "outside"),
        (lambda: Reading(-1.0, 1.0, "mm", shape=Shape.LOGNORMAL), "must be positive"),
        (lambda: Reading(0.0, 1.0, "K", shape=Shape.SKEWED), "above its least value"),
        (lambda: Quantity(1.0, 2.0, 1.0, "mm"), "turned round"),
        (lambda: draw({}, -1, 0), "0 or more"),
    ],
)
def test_nonsense_is_refused(make, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        make()


def test_a_response_surface_keeps_mean_and_spread() -> None:
    """A linear model with an unexplained part: 64 runs carried to 4000 draws keep mean and standard deviation within 10 %."""
    readings = {name: Reading(0.0, 1.0, "") for name in "abc"}
    many = draw(readings, 4000, seed=5)
    few = many.first(64)

    def model(s):  # type: ignore[no-untyped-def]
        return 3 + s["a"] - 2 * s["b"] + 0.3 * s["a"] * s["c"]

    out, truth = carried(few, model(few), many), model(many)
    assert out[0] == truth[0]
    assert out[1:].mean() == pytest.approx(truth[1:].mean(), abs=0.1)
    assert out[1:].std() == pytest.approx(truth[1:].std(), rel=0.1)


def test_a_response_surface_refuses_too_few_runs() -> None:
    sample = draw({name: Reading(0.0, 1.0, "") for name in "abcdef"}, 64, seed=5)
    with pytest.raises(ValueError, match="inputs need"):
        carried(sample.first(4), np.ones(5), sample)
