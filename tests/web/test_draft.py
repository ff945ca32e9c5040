"""Writing a case: what the form does not know stays, what it changes is read like any case file, errors stand at their field."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.casefile import Case, CaseError
from canalwright.web.draft import BY_KEY, Draft, sorted_problems
from canalwright.web.usual import usual


def test_an_untouched_case_is_the_same_case(case: Case) -> None:
    assert Draft.of(case).case().digest == case.digest


def test_every_field_written_as_it_is_shown_changes_nothing(case: Case) -> None:
    """The text of a field says all of its value: writing it back gives the same case."""
    draft = Draft.of(case)
    for index in range(len(case.canals)):
        for key in BY_KEY:
            shown = draft.text(index, key)
            again = draft.with_text(index, key, shown).with_method(index, key, draft.method(index, key))
            assert again.text(index, key) == shown, key
            assert again.case().canals[index].working_length == case.canals[index].working_length


def test_a_handful_is_enough_and_the_rest_says_its_source() -> None:
    draft = Draft.new().with_text(0, "working_length", "20,5").with_text(0, "size", "35").with_text(0, "taper", "0.04")
    made = draft.with_method(0, "working_length", "apex locator").case()
    told = usual(made.canals[0])
    assert {"length", "orifice_width", "angle", "wall", "crest"} <= set(told)
    assert all(value.source for value in told.values())
    assert made.canals[0].working_length == pytest.approx(20.5)


def test_a_measured_value_is_no_average(case: Case) -> None:
    assert "orifice_width" not in usual(case.canals[0])


@pytest.mark.parametrize(
    ("key", "text", "told"),
    [
        ("working_length", "3", "8 to 40"),
        ("working_length", "long", "number"),
        ("taper", "6", "0 to 0.2"),
        ("wall", "-1", "0.05 to 6"),
        ("angle", "400", "0 to 120"),
    ],
)
def test_an_impossible_value_is_told_at_its_field(case: Case, key: str, text: str, told: str) -> None:
    draft = Draft.of(case).with_text(0, key, text)
    with pytest.raises(CaseError) as caught:
        draft.case()
    by_canal, _ = sorted_problems(caught.value, draft.canals)
    assert told in by_canal[0][key]


@pytest.mark.parametrize(
    ("key", "text", "read"),
    [
        ("taper", "4 %", "0.04"),
        ("working_length", "20,5 mm", "20.5"),
        ("angle", "10°", "10"),
        ("widths", "3:0,45/0,6 mm; 6:0,5/0,7", "3:0.45/0.6 6:0.5/0.7"),
        ("wall_distal", "3:0,9, 7:1,1", "3:0.9 7:1.1"),
        ("wall_distal", "3:0.9,7:1.1", "3:0.9 7:1.1"),
    ],
)
def test_a_number_is_read_as_people_write_it(case: Case, key: str, text: str, read: str) -> None:
    """Units, per cent and the comma of a number: none is taken for a row of its own."""
    draft = Draft.of(case).with_text(0, key, text)
    assert draft.text(0, key) == read
    draft.case()


def test_what_is_missing_is_told_in_words_of_the_form() -> None:
    """A newcomer is told each field that still keeps the section away, without a key of the case file."""
    with pytest.raises(CaseError) as caught:
        Draft.new().with_text(0, "widths", "wide").case()
    told = sorted_problems(caught.value, Draft.new().canals)[0][0]
    assert set(told) == {"working_length", "size", "taper", "widths"}
    assert not any(word in text for text in told.values() for word in ("quotation", "_mm", "bracket", "{"))


def test_another_tooth_names_a_canal_of_which_nothing_else_is_there() -> None:
    """A front tooth has no mesiobuccal canal; a canal that was measured keeps its name."""
    assert Draft.new().with_tooth(11).canals[0]["name"] != "mesiobuccal"
    measured = Draft.new().with_text(0, "working_length", "21").with_tooth(11)
    assert measured.canals[0]["name"] == "mesiobuccal"


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.sampled_from([k for k in BY_KEY if k != "size"]), st.text(max_size=20)), max_size=4))
def test_any_text_gives_a_case_or_its_problems(case: Case, typed: list[tuple[str, str]]) -> None:
    """Whatever is typed, there is a case or a list of problems, never another error."""
    draft = Draft.of(case)
    for key, text in typed:
        draft = draft.with_text(0, key, text)
    try:
        draft.case()
    except CaseError as error:
        by_canal, others = sorted_problems(error, draft.canals)
        assert any(by_canal) or others


@pytest.mark.parametrize("row", ["3:0.9 7:x", "3:0.9 7", "thin", "3:90", "3:0.9 3:0.8"])
@pytest.mark.parametrize("side", ["mesial", "lingual"])
def test_a_bad_row_of_one_side_is_told_beside_the_field_of_that_side(case: Case, side: str, row: str) -> None:
    """Not as a place in a file that the reader of the form never sees."""
    draft = Draft.of(case).with_text(0, f"wall_{side}", row)
    with pytest.raises(CaseError) as caught:
        draft.case()
    by_canal, others = sorted_problems(caught.value, draft.canals)
    assert set(by_canal[0]) == {f"wall_{side}"} and not others
    assert "wall_side" not in by_canal[0][f"wall_{side}"] and "quotation" not in by_canal[0][f"wall_{side}"]


def test_walls_towards_the_sides_stand_beside_each_other_and_go_one_by_one(case: Case) -> None:
    bare = Draft.of(case).with_text(0, "wall_distal", "").with_text(0, "wall_mesial", "")
    draft = bare.with_text(0, "wall_distal", "3:0.9 7:1.05").with_text(0, "wall_mesial", "3:0.95 7:1.2")
    assert draft.text(0, "wall_distal") == "3:0.9 7:1.05"
    sides = {wall.side: wall.values for wall in draft.case().canals[0].sides}
    assert sides == {"distal": (0.9, 1.05), "mesial": (0.95, 1.2)}
    gone = draft.with_text(0, "wall_distal", "")
    assert gone.text(0, "wall_distal") == "" and gone.text(0, "wall_mesial") == "3:0.95 7:1.2"
    assert gone.with_text(0, "wall_mesial", "").case().digest == bare.case().digest
