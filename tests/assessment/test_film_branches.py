"""A filled side branch on a film: seen where a bright line goes to its side, never claimed where a film cannot show it."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from canalwright.anatomy.lumen import Portal
from canalwright.assessment import Sight
from canalwright.assessment.film.branches import branches
from canalwright.assessment.film.overlay import Overlay
from canalwright.assessment.film.profile import Profile, profile, steady
from canalwright.assessment.film.straight import Straight, straighten

MM, MIDDLE, TERMINUS, LEVEL, LENGTH = 0.05, 120.0, 340.0, 3.0, 1.0


def _picture(towards: int) -> np.ndarray:
    """A filling 0.8 mm wide down to the terminus, and a branch `LEVEL` mm above it to one side (+1 right, 0 none)."""
    y, x = np.mgrid[0:400, 0:240].astype(float)
    filling = 80.0 / (1 + np.exp((np.abs(x - MIDDLE) * MM - 0.4) / 0.03)) * (y < TERMINUS)
    away = (x - MIDDLE) * MM * (towards or 1)
    line = np.exp(-(((TERMINUS - y) * MM - LEVEL) ** 2) / (2 * 0.05**2)) * ((away > 0) & (away < 0.4 + LENGTH))
    noise = np.random.default_rng(5).normal(0, 1.0, y.shape)
    return np.asarray(100.0 + filling + abs(towards) * 30.0 * line * (away > 0.4) + noise, np.float32)


def _overlay() -> Overlay:
    """The plan laid over it, distal to the right."""
    z = np.arange(0.0, 15.0, 0.5)
    line = np.column_stack([np.full(len(z), MIDDLE), TERMINUS - z / MM])
    aside = np.array([0.4 / MM, 0.0])
    return Overlay(z, line, line - aside, line + aside, 0.1, 1.0, False)


@cache
def _film(towards: int) -> tuple[np.ndarray, Straight, Profile]:
    picture = _picture(towards)
    straight = straighten(picture, np.array([[MIDDLE, 20.0], [MIDDLE, 150.0], [MIDDLE, TERMINUS]]), MM)
    return picture, straight, steady(profile(straight), MM)


def _look(towards: int, direction: str, overlay: Overlay | None) -> tuple[Sight, float | None]:
    picture, straight, even = _film(towards)
    portal, end = Portal(LEVEL, 0.15, "lateral", direction, 1.6), straight.station(np.array([MIDDLE, TERMINUS]))
    (seen,) = branches(picture, straight, even, end, (portal,), overlay, (None,))
    assert (seen.z, seen.name) == (LEVEL, " ".join(filter(None, (direction, "lateral"))))
    return seen.sight, None if seen.filled is None else seen.filled.value


def test_a_bright_branch_is_seen_with_its_length() -> None:
    sight, length = _look(1, "distal", _overlay())
    assert sight is Sight.THERE
    assert length == pytest.approx(LENGTH, abs=0.3)
    assert _look(-1, "mesial", _overlay())[0] is Sight.THERE


@pytest.mark.parametrize(
    ("towards", "direction"),
    [(0, "distal"), (1, "mesial"), (1, "buccal"), (1, "")],
    ids=["none", "other side", "cheek", "unknown"],
)
def test_what_a_film_does_not_show_is_not_claimed(towards: int, direction: str) -> None:
    assert _look(towards, direction, _overlay()) == (Sight.NOT_SEEN, None)


def test_without_a_plan_that_lies_on_the_film_no_side_is_known() -> None:
    assert _look(1, "distal", None) == (Sight.NOT_SEEN, None)
    assert _look(1, "distal", replace(_overlay(), misfit=1.5)) == (Sight.NOT_SEEN, None)
