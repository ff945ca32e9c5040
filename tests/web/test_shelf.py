"""Cases lie under the digest of their content: an edit is another case, nothing is overwritten, memory is bounded."""

from canalwright.casefile import Case
from canalwright.web.draft import Draft
from canalwright.web.shelf import Shelf


def test_an_edit_leaves_the_case_it_came_from(case: Case) -> None:
    shelf = Shelf()
    first = shelf.put(case)
    second = shelf.put(Draft.of(case).with_text(0, "working_length", "19.5").case())
    assert first != second
    assert shelf.get(first) is case
    edited = shelf.get(second)
    assert edited is not None and edited.canals[0].working_length == 19.5


def test_the_shelf_is_bounded(case: Case) -> None:
    shelf = Shelf(most=3)
    keys = [shelf.put(Draft.of(case).with_label(f"case {i}").case()) for i in range(5)]
    assert [shelf.get(k) is not None for k in keys] == [False, False, True, True, True]


def test_an_older_case_knows_what_it_was_changed_into(case: Case) -> None:
    """Two windows: the one left behind can say so, through several changes and back again."""
    shelf = Shelf()
    drafts = [Draft.of(case).with_text(0, "working_length", text).case() for text in ("19.5", "20")]
    first = shelf.put(case)
    second = shelf.put(drafts[0], instead_of=first)
    third = shelf.put(drafts[1], instead_of=second)
    assert (shelf.newer(first), shelf.newer(second), shelf.newer(third)) == (third, third, "")
    assert [key for key, _ in shelf.listed()] == [third]
    assert shelf.put(case, instead_of=third) == first
    assert (shelf.newer(first), shelf.newer(third)) == ("", first)
