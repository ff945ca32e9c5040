"""Protects: canals get trade names only when the tooth and a direction are known, and then the right ones."""

import numpy as np
import pytest

from canalwright.anatomy.tooth import Tooth
from canalwright.imaging.mesh.names import directions, names

UP = np.array([0.0, 0.0, 1.0])
LEFT, FRONT = np.array([1.0, 0.0, 0.0]), np.array([0.0, -1.0, 0.0])
"""Patient coordinates: +x to the left, +y backwards, +z up."""


@pytest.mark.parametrize(
    ("code", "crown", "buccal"), [(36, UP, LEFT), (46, UP, -LEFT), (26, -UP, LEFT), (16, -UP, -LEFT)]
)
def test_one_direction_gives_the_other(code: int, crown: np.ndarray, buccal: np.ndarray) -> None:
    """Molars: buccal is away from the midline and mesial is forwards, on all four sides of the mouth."""
    by_buccal = directions(Tooth(code), crown, None, buccal + 0.3 * crown)
    by_mesial = directions(Tooth(code), crown, FRONT * 5, None)
    for found in (by_buccal, by_mesial):
        assert found is not None
        assert found.mesial == pytest.approx(FRONT)
        assert found.buccal == pytest.approx(buccal)


def test_directions_that_cannot_be() -> None:
    with pytest.raises(ValueError, match="along the tooth's axis"):
        directions(Tooth(36), UP, UP, None)
    with pytest.raises(ValueError, match="mirrored"):
        directions(Tooth(36), UP, FRONT, -LEFT)


@pytest.mark.parametrize(
    ("code", "places", "expected"),
    [  # places: mesial, buccal
        (36, [(2, 1), (2, -1), (-2, 0)], ["mesiobuccal", "mesiolingual", "distal"]),
        (46, [(-2, 1), (-2, -1), (2, 0)], ["distobuccal", "distolingual", "mesial"]),
        (46, [(-2, 1), (2, -1), (-2, -1), (2, 1)], ["distobuccal", "mesiolingual", "distolingual", "mesiobuccal"]),
        (37, [(-1, 0), (1, 0)], ["distal", "mesial"]),
        (16, [(0, -3), (2, 1), (-2, 1)], ["palatal", "mesiobuccal", "distobuccal"]),
        (26, [(2, 2), (2, 0.5), (-2, 1.5), (0, -3)], ["mesiobuccal", "second mesiobuccal", "distobuccal", "palatal"]),
        (14, [(0, -1), (0, 1)], ["palatal", "buccal"]),
        (31, [(0, 1), (0, -1)], ["labial", "lingual"]),
    ],
)
def test_names(code: int, places: list[tuple[float, float]], expected: list[str]) -> None:
    tooth = Tooth(code)
    crown = -UP if tooth.upper else UP
    ways = directions(tooth, crown, FRONT, None)
    assert ways is not None
    middles = np.array([m * ways.mesial + b * ways.buccal for m, b in places]) + 40.0
    assert names(tooth, middles, ways) == (expected, "")


def test_numbers_say_why() -> None:
    middles = np.zeros((3, 3))
    assert names(None, middles, None)[0] == ["canal 1", "canal 2", "canal 3"]
    assert "no tooth was given" in names(None, middles, None)[1]
    assert "no mesial or buccal direction" in names(Tooth(36), middles, None)[1]
    assert names(Tooth(36), middles[:1], None) == (["single"], "")
    ways = directions(Tooth(31), UP, FRONT, None)
    assert "no trade names for 3 canals of a lower central incisor" in names(Tooth(31), middles, ways)[1]
