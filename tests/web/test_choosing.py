"""What was chosen survives the address: written and read again it is the same, and nonsense in an address is no choice."""

from dataclasses import replace
from urllib.parse import parse_qs

from hypothesis import given
from hypothesis import strategies as st

from canalwright.casefile import generic_tray
from canalwright.planning import Choices
from canalwright.web.choosing import RANGES, changed, from_query, to_query

TRAY = generic_tray()
names = st.sampled_from([p.name for p in TRAY.pluggers])


@st.composite
def choices(draw: st.DrawFn) -> Choices:
    made = Choices()
    for key, span in RANGES.items():
        if draw(st.booleans()):
            made = changed(made, key, draw(st.floats(span.low, span.high)))
    if draw(st.booleans()):
        made = changed(made, "carrier", draw(st.sampled_from([c.name for c in TRAY.carriers])))
    if draw(st.booleans()):
        made = replace(made, pluggers=(draw(names), draw(names), draw(names)))
    return made


@given(choices())
def test_written_and_read_again(made: Choices) -> None:
    assert from_query(parse_qs(to_query(made)), TRAY) == made


@given(
    st.dictionaries(
        st.sampled_from([*RANGES, "cone", "plugger", "draws", "seed", "x"]), st.lists(st.text(max_size=12), max_size=4)
    )
)
def test_nonsense_is_left_to_the_planner(query: dict[str, list[str]]) -> None:
    """Any address gives choices within their ranges, and never touches what an address may not set."""
    made = from_query(query, TRAY)
    for key, span in RANGES.items():
        value = getattr(made, key)
        assert value is None or value == getattr(Choices(), key) or span.low <= value <= span.high
    assert (made.draws, made.seed) == (Choices().draws, Choices().seed)
