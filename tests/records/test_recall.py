"""Protects: recalls fall due when the rule says, and what was found is judged by the criteria written down."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.records import Kind, Store
from canalwright.records.errors import BadEntry
from canalwright.records.recall import GUIDELINE, Rule, Verdict, Visit, judge, next_due
from canalwright.records.recall.rules import months_after, overdue
from canalwright.records.recall.visit import LESIONS, LOSSES, SIGNS, SYMPTOMS
from tests.records.conftest import Clock

FILLED = date(2024, 2, 29)
words = (
    st.lists(st.sampled_from(SIGNS), max_size=2).map(tuple),
    st.lists(st.sampled_from(SYMPTOMS), max_size=2).map(tuple),
)
visits = st.builds(
    Visit,
    on=st.dates(FILLED, date(2034, 1, 1)),
    signs=words[0],
    symptoms=words[1],
    percussion=st.none() | st.booleans(),
    index=st.dictionaries(st.sampled_from(["m", "d"]), st.dictionaries(st.sampled_from(["ann", "bob"]), st.integers(1, 5), min_size=1)),
    lesion=st.sampled_from(LESIONS),
    lost=st.sampled_from(LOSSES),
    restoration=st.none() | st.booleans(),
)  # fmt: skip


def test_guideline_is_one_and_four_years() -> None:
    assert GUIDELINE.due_dates(FILLED) == (date(2025, 2, 28), date(2028, 2, 29))


@pytest.mark.parametrize(
    ("seen", "due"),
    [
        ([], date(2025, 2, 28)),
        ([date(2024, 5, 1)], date(2025, 2, 28)),
        ([date(2025, 1, 2)], date(2028, 2, 29)),
        ([date(2026, 6, 1)], date(2028, 2, 29)),
        ([date(2028, 1, 15)], None),
    ],
)
def test_next_due(seen: list[date], due: date | None) -> None:
    """A visit up to 60 days early meets the date; one much too early does not."""
    assert next_due(GUIDELINE, FILLED, seen) == due


@settings(deadline=None)
@given(st.dates(date(1990, 1, 1), date(2100, 1, 1)), st.integers(0, 600))
def test_months_after_falls_into_the_right_month(start: date, months: int) -> None:
    found = months_after(start, months)
    assert (found.year * 12 + found.month) - (start.year * 12 + start.month) == months
    assert found.day == start.day or (found + timedelta(days=1)).day == 1


@pytest.mark.parametrize("months", [(), (0,), (12, 12), (24, 12), (1.5,), tuple(range(1, 30))])
def test_rule_of_ones_own_must_make_sense(months: tuple[int, ...]) -> None:
    with pytest.raises(BadEntry):
        Rule("own", months)


def test_due_and_overdue_lists(store: Store, clock: Clock) -> None:
    """By guideline or own rule; a met recall moves on, a closed case and a lost tooth are due no more."""
    cases = [store.cases.open(store.patients.add("ann"), {"tooth": t}, "ann") for t in (11, 21, 31, 41)]
    for case in cases:
        store.cases.record(case, Kind.CHECK, {"on": "2024-02-29"}, "ann")
    store.cases.record(cases[1], Kind.SCHEDULE, Rule("own", (6, 12)).as_json(), "ann")
    due = store.cases.due(date(2025, 3, 1))
    assert (due.rows[0].case_id, due.rows[0].next_due) == (cases[1], "2024-08-29")
    assert due.total == 4
    assert store.cases.overdue(date(2025, 3, 30)).total == 1
    assert store.cases.overdue(date(2025, 3, 31)).total == 4
    assert overdue(date(2025, 2, 28), date(2025, 3, 31)) and not overdue(date(2025, 2, 28), date(2025, 3, 30))
    store.cases.record(cases[0], Kind.RECALL, {"on": "2025-02-20", "index": {"m": {"ann": 2}}}, "ann")
    store.cases.record(cases[2], Kind.RECALL, {"on": "2025-02-20", "lost": "fracture"}, "ann")
    store.cases.record(cases[3], Kind.CLOSE, {"reason": "moved away"}, "ann")
    assert [v.case_id for v in store.cases.due(date(2027, 1, 1)).rows] == [cases[1]]
    views = {v.case_id: v for v in store.cases.page().rows}
    assert (views[cases[0]].next_due, views[cases[0]].outcome) == ("2028-02-29", "healed")
    assert (views[cases[2]].status, views[cases[2]].outcome) == ("closed", "tooth lost")


@settings(deadline=None)
@given(visits)
def test_visit_survives_the_journey(visit: Visit) -> None:
    assert Visit.from_json(visit.as_json()) == visit


@settings(deadline=None)
@given(visits, st.none() | st.integers(1, 5))
def test_strict_success_is_loose_success(visit: Visit, before: int | None) -> None:
    """Ng et al. 2007: strict never exceeds loose; nothing is judged that was not seen."""
    found = judge(visit, FILLED, before)
    if found.strict:
        assert found.loose
    assert (found.strict is None) == (found.loose is None)
    if visit.worst is None and visit.clean and not visit.lost:
        assert found.verdict is Verdict.NOT_JUDGED


def _visit(months: int, grade: int, **more: object) -> Visit:
    return Visit(months_after(FILLED, months), index={"m": {"ann": grade}}, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("visit", "before", "verdict"),
    [
        (_visit(12, 1), 4, Verdict.HEALED),
        (_visit(12, 2), 4, Verdict.HEALED),
        (_visit(12, 3), 4, Verdict.HEALING),
        (_visit(12, 3), 3, Verdict.NOT_HEALED),
        (_visit(12, 4, lesion="smaller"), 4, Verdict.HEALING),
        (_visit(12, 3, lesion="same"), 4, Verdict.NOT_HEALED),
        (_visit(48, 3), 5, Verdict.NOT_HEALED),
        (_visit(47, 3), 5, Verdict.HEALING),
        (_visit(12, 1, percussion=True), 1, Verdict.NOT_HEALED),
        (_visit(12, 1, symptoms=("pain on biting",)), 1, Verdict.NOT_HEALED),
        (_visit(12, 1, lost="fracture"), 1, Verdict.LOST),
        (Visit(FILLED), 1, Verdict.NOT_JUDGED),
    ],
)
def test_verdicts(visit: Visit, before: int, verdict: Verdict) -> None:
    assert judge(visit, FILLED, before).verdict is verdict


def test_tooth_takes_its_worst_root_and_readers_their_agreement() -> None:
    index = {"m": {"ann": 2, "bob": 3}, "d": {"ann": 1, "bob": 1}}
    assert Visit(FILLED, index=index).worst == 3
    assert Visit(FILLED, index=index, agreed={"m": 2}).worst == 2
    with pytest.raises(BadEntry, match="agreed"):
        Visit(FILLED, agreed={"m": 2})
