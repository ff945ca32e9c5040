"""Protects: needle sizes are consistent with each other, and a needle stops where the canal is as wide as it is."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canalwright.instruments import Profile, iso9626


@pytest.mark.parametrize("row", iso9626.TUBING.values(), ids=lambda row: f"{row.gauge} gauge")
def test_each_row_closes(row: iso9626.Tubing) -> None:
    """Nominal outside lies within its limits, and the least bores grow as walls get thinner."""
    assert row.least_outside <= row.outside <= row.greatest_outside
    bores = [bore for bore in row.least_bore if bore is not None]
    assert bores == sorted(bores)
    assert row.least_bore[0] <= row.inside < row.outside


def test_a_larger_gauge_is_a_thinner_needle() -> None:
    outsides = [row.outside for row in iso9626.TUBING.values()]
    assert outsides == sorted(outsides, reverse=True)


def test_unknown_gauge_and_wall_are_refused() -> None:
    with pytest.raises(ValueError, match="9 gauge is not in the table"):
        iso9626.tubing(9)
    with pytest.raises(ValueError, match="no 'extra thin' wall for 27 gauge"):
        iso9626.tubing(27).bore("extra thin")


@given(st.floats(0.15, 0.8), st.floats(0.01, 0.12), st.sampled_from(sorted(iso9626.TUBING)))
def test_at_its_entry_level_the_needle_just_fits(tip: float, taper: float, gauge: int) -> None:
    outside = iso9626.tubing(gauge).outside
    level = iso9626.entry_level(outside, tip, taper)
    canal = Profile.uniform(tip, taper, 200)
    assert canal(level) >= outside - 1e-9
    assert level == 0 or canal(level) == pytest.approx(outside)


def test_a_canal_without_taper_never_lets_a_wider_needle_in() -> None:
    assert iso9626.entry_level(0.5, 0.4, 0.0) == float("inf")
