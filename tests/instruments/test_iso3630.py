"""Protects: sizes, colours and tolerances follow ISO 3630-1 and ISO 6877, and an unknown size is refused by name."""

import pytest

from canalwright.instruments import iso3630


def test_series_is_three_small_ten_and_eight_large() -> None:
    assert len(iso3630.SIZES) == 21
    assert [s for s in iso3630.SIZES if s < 15] == [6, 8, 10]
    assert [s for s in iso3630.SIZES if 15 <= s <= 60] == list(range(15, 61, 5))
    assert [s for s in iso3630.SIZES if s > 60] == list(range(70, 141, 10))


def test_colours_repeat_every_six_sizes() -> None:
    assert [iso3630.colour(s) for s in (6, 8, 10)] == ["pink", "grey", "purple"]
    for first, second, third in zip(
        (15, 20, 25, 30, 35, 40), (45, 50, 55, 60, 70, 80), (90, 100, 110, 120, 130, 140), strict=True
    ):
        assert iso3630.colour(first) == iso3630.colour(second) == iso3630.colour(third)


@pytest.mark.parametrize(
    ("size", "near"), [(65, "60 and 70"), (33, "30 and 35"), (5, "06 and 08"), (200, "130 and 140")]
)
def test_other_sizes_are_refused_with_their_neighbours(size: int, near: str) -> None:
    with pytest.raises(ValueError, match=near):
        iso3630.tip_diameter(size)


def test_tolerances_change_where_the_standards_change_them() -> None:
    assert [iso3630.file_tolerance(s) for s in (60, 70)] == [0.02, 0.04]
    assert [iso3630.point_tolerance(s) for s in (25, 30)] == [0.05, 0.07]
