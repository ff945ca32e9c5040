"""Labels keep their order, stay within the column and never overlap; nothing moves that need not."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canalwright.report.labels import shortened, spread, text_width

places = st.lists(st.floats(0, 100), min_size=1, max_size=25).map(sorted)


@given(places, st.floats(0.5, 4.0))
def test_labels_do_not_overlap_and_stay_within(wanted: list[float], height: float) -> None:
    heights = [height] * len(wanted)
    at = spread(wanted, heights, -5.0, 105.0)
    assert np.all(np.diff(at) >= height - 1e-9)
    assert at[0] - height / 2 >= -5.0 - 1e-9
    assert at[-1] + height / 2 <= 105.0 + 1e-9


@given(places)
def test_labels_with_room_stay_where_they_are_wanted(wanted: list[float]) -> None:
    spaced = [w + 5.0 * i for i, w in enumerate(wanted)]
    assert np.allclose(spread(spaced, [4.0] * len(spaced), -10.0, 1000.0), spaced)


def test_a_crowd_spreads_evenly_about_its_middle() -> None:
    assert np.allclose(spread([10.0, 10.0, 10.0], [2.0] * 3, 0.0, 20.0), [8.0, 10.0, 12.0])


def test_too_many_labels_are_refused() -> None:
    with pytest.raises(ValueError, match="do not fit"):
        spread([1.0, 2.0], [3.0, 3.0], 0.0, 5.0)


@given(st.text(max_size=40), st.floats(1.0, 60.0))
def test_shortened_text_fits(text: str, room: float) -> None:
    cut = shortened(text, 3.0, room)
    assert cut == text or text_width(cut, 3.0) <= max(room, text_width("…", 3.0))
