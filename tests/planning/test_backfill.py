"""Protects: the backfill stops where it must, its portions are small and join up, its volumes are right."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ellipe

from canalwright.casefile import Case
from canalwright.instruments import Needle
from canalwright.planning import practice
from canalwright.planning.backfill import backfill_top, lay_portions, sealer_film, volumes, widest_needle
from tests.fit.canals import lumen


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


@pytest.mark.parametrize(
    ("left", "orifice", "z", "below"),
    [(4.0, 13.0, 5.5, 5.0), (8.0, 13.0, 8.0, 7.5), (4.0, 4.7, 4.7, 4.2)],
    ids=["as wanted", "the downpack ends above it", "a short canal"],
)
def test_what_stays_below_a_post_is_told_as_it_is(
    case: Case, left: float, orifice: float, z: float, below: float
) -> None:
    top = backfill_top(replace(case.canal("distal"), post=True, end=0.5, orifice=orifice), left)
    assert (top.z, top.below_post) == pytest.approx((z, below)) and top.reason == "post: the filling ends here"


@pytest.mark.parametrize(
    ("crest", "left", "z", "reason"),
    [
        (9.0, 4.0, 9.0, "crest of bone"),
        (9.0, 10.0, 10.0, "crest of bone"),
        (13.0, 4.0, 13.0, "orifice: the crest of bone is not below it"),
        (None, 4.0, 13.0, "orifice: crest of bone not given"),
    ],
    ids=["crest", "the downpack ends above it", "crest at the orifice", "not known"],
)
def test_without_a_post_it_stops_at_the_crest_of_bone(
    case: Case, crest: float | None, left: float, z: float, reason: str
) -> None:
    top = backfill_top(replace(case.canal("distal"), post=False, orifice=13.0, crest=crest), left)
    assert (top.z, top.reason, top.below_post) == (z, reason, None)


@pytest.mark.parametrize(
    ("length", "count"),
    [(0.29, 0), (0.31, 1), (practice.PORTION, 1), (practice.PORTION + 0.01, 2), (2 * practice.PORTION, 2)],
)
def test_as_few_portions_as_the_longest_allows(length: float, count: int) -> None:
    assert len(lay_portions(4.0, 4.0 + length)) == count


def test_the_portion_of_each_draw_between_two_stations() -> None:
    """Cylinders with oval sections, pi/4 a b L, cut off between stations; each draw has its own."""
    z, ones = np.arange(0, 10.05, 0.1), np.ones(101)
    minor, major = np.stack([0.4 * ones, 0.6 * ones]), np.stack([0.8 * ones, 0.6 * ones])
    assert volumes(z, minor, major, 2.13, 5.38) == pytest.approx(np.pi / 4 * np.array([0.32, 0.36]) * 3.25)


def test_a_needle_serves_that_comes_to_a_millimetre_of_the_floor() -> None:
    thin, wide = Needle("25", 25, 0.514, 0.26), Needle("20", 20, 0.908, 0.603)
    assert widest_needle(((thin, 3.0), (wide, 5.0)), 4.0) == (wide, 5.0)
    assert widest_needle(((thin, 3.0), (wide, 5.1)), 4.0) == (thin, 3.0)
    assert widest_needle(((wide, 8.0), (thin, 6.0)), 4.0) == (thin, 6.0), "none gets there: the one that gets deepest"


@pytest.mark.parametrize("oval", [1.0, 2.0])
def test_the_film_of_sealer_covers_the_whole_wall(oval: float) -> None:
    """Perimeter of an ellipse by the complete elliptic integral, 2 a E(1 - (b/a)^2) with the full axes, times length and thickness."""
    perimeter = 2 * 0.4 * oval * ellipe(1 - 1 / oval**2)
    canal = lumen(top=10.0, tip=0.4, taper_native=0.0, oval=oval)
    assert sealer_film(canal, 0.03) == pytest.approx(perimeter * 10.0 * 0.03, rel=1e-4)
    wider = lumen(top=10.0, tip=0.4, taper_native=0.05)
    assert sealer_film(wider, 0.03) == pytest.approx(np.pi * (0.4 + 0.9) / 2 * 10.0 * 0.03, rel=1e-9)


@pytest.mark.parametrize(
    ("bottom", "top"), [(2.13, 5.38), (2.0, 5.0), (2.13, 2.21), (0.0, 9.0), (-1.0, 4.3), (7.7, 12.0), (8.9, 8.95)]
)
def test_between_stations_a_canal_is_as_wide_as_its_neighbours_say(bottom: float, top: float) -> None:
    """Against the general-purpose interpolation of each draw, whose ends hold beyond the last station."""
    z = np.array([0.0, 1.0, 2.0, 3.5, 5.0, 6.0, 8.0, 9.0])
    widths = np.random.default_rng(5).uniform(0.2, 1.4, (3, len(z)))
    at = np.concatenate([[bottom], z[(z > bottom) & (z < top)], [top]])
    wanted = [np.trapezoid(np.interp(at, z, np.pi / 4 * row**2), at) for row in widths]
    assert volumes(z, widths, widths, bottom, top) == pytest.approx(wanted)
