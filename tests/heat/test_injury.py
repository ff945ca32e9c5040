"""Protects: the arithmetic of dose, time above a level, and margin, against worked values."""

import numpy as np
import pytest

from canalwright.heat import cem43, margin, seconds_above
from canalwright.heat.injury import BONE_CEM43, BONE_LEVEL, BONE_SECONDS


@pytest.mark.parametrize(
    ("temperature", "seconds", "minutes"),
    [
        (44, 60, 2), (45, 60, 4), (47, 10, 2.667), (47, 60, 16), (47, 300, 80), (50, 5, 10.67), (50, 30, 64),
        (50, 60, 128), (53, 60, 1024), (55, 60, 4096), (60, 1, 2185), (42, 600, 2.5), (41, 3600, 3.75), (39, 3600, 0.2344),
    ],
)  # fmt: skip
def test_constant_temperature(temperature: float, seconds: float, minutes: float) -> None:
    assert cem43([temperature, temperature], [0, seconds]) == pytest.approx(minutes, rel=5e-4)


def test_ramps_and_decay() -> None:
    assert cem43([37, 47], [0, 30]) == pytest.approx(1.118, abs=5e-4)
    assert cem43([37, 47, 37], [0, 30, 60]) == pytest.approx(2.236, abs=1e-3)
    time = np.linspace(0, 600, 20001)
    assert cem43(37 + 10 * np.exp(-time / 20), time) == pytest.approx(0.8780, abs=5e-4)


def test_by_station_and_level_crossing() -> None:
    time = np.array([0.0, 10.0, 20.0])
    temperature = np.array([[37.0, 47.0], [57.0, 47.0], [37.0, 47.0]])
    np.testing.assert_allclose(seconds_above(temperature, time), [10.0, 0.0])
    assert cem43(temperature, time).shape == (2,)
    assert margin(8.5) == pytest.approx(1.5)


def test_the_limit_of_bone_is_its_dose_of_one_minute() -> None:
    """47 deg C for 60 s by the definition itself, R = 0.5 above 43 deg C."""
    assert float(cem43([BONE_LEVEL] * 2, [0.0, BONE_SECONDS])) == pytest.approx(BONE_CEM43)


def test_a_level_just_above_43_counts_as_above() -> None:
    assert float(cem43([43.5, 43.5], [0.0, 60.0])) == pytest.approx(2**0.5)


def test_time_above_a_level_of_several_places_and_pieces() -> None:
    """Places do not mix, each piece counts its own share, and half a degree above the level is above it."""
    temperature = [[46.0, 47.5], [48.0, 47.5], [46.0, 47.0], [46.0, 46.0]]
    assert seconds_above(temperature, [0.0, 2.0, 4.0, 6.0]) == pytest.approx([2.0, 4.0])
    assert cem43(temperature, [0.0, 2.0, 4.0, 6.0]) == pytest.approx(
        [float(cem43([row[i] for row in temperature], [0.0, 2.0, 4.0, 6.0])) for i in range(2)]
    )


def test_each_place_is_reckoned_by_itself_over_uneven_pieces() -> None:
    """Three places in four uneven pieces: together they are what each is alone; shapes that would fit by chance do not."""
    time = [0.0, 10.0, 15.0, 40.0, 42.0]
    warm = np.array(
        [[37.0, 46.0, 48.0], [45.0, 52.0, 44.0], [50.0, 47.0, 41.0], [44.0, 49.0, 60.0], [39.0, 43.0, 47.0]]
    )
    for measure in (cem43, seconds_above):
        together = measure(warm, time)
        assert together == pytest.approx([float(measure(column, time)) for column in warm.T])
        pieces = [measure(warm[i : i + 2], time[i : i + 2]) for i in range(4)]
        assert together == pytest.approx(np.sum(pieces, axis=0)), "the whole is the sum of its pieces"
