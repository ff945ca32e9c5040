"""Protects: what a gauge is taken to say."""

import numpy as np
import pytest

from canalwright import fit


def test_gauge_gives_an_inequality_on_each_side():
    assert fit.gauge_bounds(25, 30) == pytest.approx((0.23, 0.32))
    assert fit.gauge_bounds(None, 30) == (0.0, pytest.approx(0.32))
    assert fit.gauge_bounds(70, None) == (pytest.approx(0.66), np.inf)


def test_gauge_that_contradicts_itself_is_refused():
    with pytest.raises(ValueError, match="gauge again"):
        fit.gauge_bounds(30, 30)
    with pytest.raises(ValueError, match="ISO 3630-1"):
        fit.gauge_bounds(65, 70)


def test_gauge_reading_lies_between_its_bounds():
    reading = fit.gauge_reading(25, 30)
    assert (reading.value, reading.error) == pytest.approx((0.275, 0.045))
    assert fit.gauge_reading(None, 30).value == pytest.approx(0.275)
    assert fit.gauge_reading(None, 6).value == pytest.approx(0.04)
    assert fit.gauge_reading(None, 8).value == pytest.approx(0.07), (
        "the size below, the smallest of all, is supposed to pass"
    )
    assert reading.least == 0 and reading.source.detail == "apical gauge: 30 stops, 25 passes"
    assert fit.gauge_reading(None, 30).source.detail == "apical gauge: 30 stops"


def test_binding_level_of_a_cylinder():
    assert fit.binding_level(0.5, 0.3, 0.04) == pytest.approx(5.0)
    assert fit.binding_level(0.2, 0.3, 0.04) == 0
