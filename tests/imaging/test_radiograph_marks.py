"""Marks of a film read together: what is told, what is named as missing, what is refused; and the picture for the screen."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.imaging.errors import ScanError
from canalwright.imaging.radiograph.image import Film
from canalwright.imaging.radiograph.marks import Marks, read_marks, second_canal
from canalwright.imaging.radiograph.shown import shown
from tests.support import film

BLANK = Film(np.zeros((900, 700), np.float32), spacing=0.05)


def _drawn(tube: float = 0.0) -> tuple[Film, Marks]:
    made = film.film(tube)
    known = (made.known[0], *made.known[2:], made.known[1])
    marks = Marks(known, film.FILE, made.cusp, tuple(made.canal), made.terminus, tuple(made.pair))
    return Film(np.asarray(made.picture, dtype=np.float32)), marks


def test_a_projected_tooth_comes_back():
    """Truth from space: 21 mm long, an arc of 12 mm radius, the second canal 3 mm buccally."""
    first, second = _drawn(), _drawn(tube=100.0)
    found = read_marks(*first)
    assert found.length is not None and found.curve is not None and found.missing == ()
    assert found.length.value == pytest.approx(21.0, abs=0.1)
    assert found.curve.radius.low <= 12.0 <= found.curve.radius.high
    angle = float(np.degrees(np.arctan2(100.0, film.FOCUS - film.HEIGHT)))
    depth = second_canal((first[0], second[0]), (first[1], second[1]), angle=angle, towards="right")
    assert depth.side == "buccal" and depth.apart.value == pytest.approx(film.APART, abs=0.3)
    turned = second_canal((first[0], second[0]), (first[1], second[1]), angle=angle, towards="left")
    assert turned.side == "lingual"


@settings(max_examples=20, deadline=None)
@given(st.floats(0.6, 1.6), st.floats(-60, 60), st.floats(-60, 60))
def test_length_in_mm_knows_no_pixels(scale, x, y):
    """The same tooth on a finer or shifted picture has the same length, for the known instrument is scaled with it."""

    def at(px: float, py: float) -> tuple[float, float]:
        return (150 + px * scale + x * scale, 100 + py * scale + y * scale)

    marks = Marks((at(50, 350), at(50, 50)), 20.0, at(52, 40), (), at(52, 370))
    found = read_marks(BLANK, marks)
    assert found.length is not None and found.length.value == pytest.approx(22.0, rel=1e-9)


def test_what_is_missing_is_named_in_order():
    told = [
        read_marks(BLANK, m).missing[0] for m in (Marks(), Marks(((1, 1), (1, 300))), Marks(((1, 1), (1, 300)), 20.0))
    ]
    assert (
        told[0].startswith("mark the known")
        and told[1].startswith("give the length")
        and told[2].startswith("mark the reference")
    )
    assert "3 more points" in read_marks(BLANK, Marks(canal=((1, 1), (2, 40)), terminus=(3, 90))).missing[-1]
    plain = read_marks(BLANK, Marks(reference=(10, 10), terminus=(10, 430)))
    assert plain.length is not None and not plain.corrected


def test_what_cannot_be_is_refused_in_one_line():
    wrong = [
        (lambda: read_marks(BLANK, Marks(reference=(10, 2000))), "outside"),
        (lambda: read_marks(BLANK, Marks(((1, 1), (1, 300)), 200.0)), "1 to 60"),
        (lambda: second_canal((BLANK, BLANK), (Marks(), Marks()), angle=20, towards="left"), "both canals"),
        (
            lambda: second_canal(
                (Film(BLANK.pixels),) * 2, (Marks(pair=((1, 1), (9, 1))),) * 2, angle=20, towards="left"
            ),
            "no scale",
        ),
    ]
    for work, words in wrong:
        with pytest.raises(ScanError, match=words) as caught:
            work()
        assert "\n" not in str(caught.value)


@settings(max_examples=10, deadline=None)
@given(st.integers(64, 300), st.integers(64, 300), st.integers(4000, 40000))
def test_the_picture_is_bounded_and_spans_all_greys(rows, columns, most):
    rng = np.random.default_rng(rows)
    made = shown(Film(rng.normal(0, 100, (rows, columns)).astype(np.float32)), most)
    assert made.greys.size <= most and made.greys.dtype == np.uint16
    assert made.greys.min() == 0 and made.greys.max() == 65535 and 0 <= made.low < made.high <= 65535
    assert shown(Film(np.full((80, 80), 7.0, np.float32))).greys.max() == 0
