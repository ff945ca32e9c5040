"""What three dimensions and the cursor on the section are made of."""

import numpy as np
import pytest

from canalwright import casefile
from canalwright.report.solid import solid
from canalwright.report.stations import stations


@pytest.mark.parametrize("index", [0, 1, 2])
def test_the_root_holds_the_lumen_everywhere(index: int) -> None:
    told = solid(casefile.demo_case().canals, index)
    (chosen,) = [c for c in told["canals"] if c["chosen"]]
    for way in ("along", "across"):
        assert np.all(np.array(chosen["root"][way]) > np.array(chosen["lumen"][way]))
    assert len(chosen["centre"]) == len(chosen["axis"]) == len(chosen["z"])


def test_canals_measured_each_for_itself_are_not_shown_in_one_space() -> None:
    """Without a scan nobody knows how canals lie to each other, so only the chosen one is drawn."""
    assert len(solid(casefile.demo_case().canals, 0)["canals"]) == 1


@pytest.mark.parametrize("index", [0, 1, 2])
def test_every_value_at_a_level_has_its_interval(index: int) -> None:
    canal = casefile.demo_case().canals[index]
    told = stations(canal)
    for name in ("minor", "major", "shaped_minor", "shaped_major", "wall"):
        value, low, high = (np.array(row) for row in told[name])
        assert np.all(low <= value) and np.all(value <= high)
        assert np.any(high - low > 0.01), "a measured canal is never without doubt"
    assert told["depth"][0] == pytest.approx(canal.length.value, abs=0.001)
    assert np.all(np.array(told["shaped_minor"][0]) >= np.array(told["minor"][0]) - 1e-9)
