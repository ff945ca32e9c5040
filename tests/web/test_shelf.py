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
