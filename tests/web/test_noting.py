"""Notes before a filling: each makes a case that can be read, each can be taken back, a bad one changes nothing."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright import casefile
from canalwright.casefile import Case, CaseError
from canalwright.quantities import Quantity
from canalwright.readiness import combine
from canalwright.web.noting import Notes, said
from canalwright.web.shelf import Shelf


def test_every_kind_of_note_reaches_the_record(case: Case) -> None:
    notes = Notes.of(case, 1)
    notes = notes.with_row("lengths", {"method": "paper point", "value_mm": "20,25", "error_mm": ""})
    notes = notes.with_row("paper_points", {"dry_mm": "20", "far_side_mm": "20.75", "side": "mesial", "blood": "yes"})
    notes = notes.with_row("gauges", {"size": "35", "passes": "no"}).with_row("gauges", {"size": "30", "passes": "yes"})
    notes = notes.with_row("files_used", {"size": "25", "taper": "0.04", "short_mm": "1"}).with_age("52")
    notes = notes.with_bath("percent", "5").with_bath("agitation", "sonic").with_order(["hypochlorite", "saline"])
    record = notes.case.record(notes.case.canals[1].name)
    assert record is not None and record.irrigated is not None
    assert record.soundings[0].value == 20.25 and record.age == 52
    assert record.points[0].side == "mesial" and record.points[0].blood and record.points[0].slant == 0.75
    assert [(t.size, t.passes) for t in record.trials] == [(35, False), (30, True)]
    assert record.files[0].short == 1.0 and record.irrigated.bath.percent == 5.0 and len(record.irrigated.order) == 2
    assert casefile.loads(casefile.dumps(notes.case)).digest == notes.case.digest


def test_the_way_back_is_whole(case: Case) -> None:
    notes = Notes.of(case, 2)
    changed = notes.without_row("lengths", 0).with_bath("percent", "").with_age("").with_order([])
    while changed.before:
        changed = changed.undone()
    assert changed.case.digest == case.digest and changed.undone() is changed


@settings(max_examples=20, deadline=None)
@given(st.sampled_from(["lengths", "paper_points", "gauges", "files_used"]), st.text(max_size=8))
def test_any_text_makes_a_case_or_is_refused(kind: str, text: str) -> None:
    notes = Notes.of(casefile.demo_case(), 0)
    fields = {"lengths": "value_mm", "paper_points": "dry_mm", "gauges": "size", "files_used": "size"}
    try:
        made = notes.with_row(kind, {"method": "tactile", "taper": "0.04", fields[kind]: text})
    except CaseError as error:
        assert "\n" not in said(error) and said(error)
    else:
        assert len(made.rows(kind)) == 1


def test_a_film_gives_the_curve_and_all_measurements_the_working_length(case: Case) -> None:
    notes = Notes.of(case, 2)
    record = case.record("distal")
    assert record is not None
    combined = combine(record.all_soundings, case.tooth, record.age)
    canal = notes.with_length(combined).case.canals[2]
    assert canal.working_length == pytest.approx(combined.constriction.value, abs=0.05)
    curve = notes.with_curve(
        Quantity(18.0, 15.0, 21.0, "deg"), Quantity(9.0, 7.0, 12.0, "mm"), Quantity(5.0, 4.0, 6.0, "mm")
    )
    table = curve.draft.table["canal"][2]["curve"]
    assert table["angle_deg"]["value"] == 18.0 and table["measure"] == "pruett" and table["towards"] == "mesial"


def test_a_noted_case_takes_the_place_of_the_one_it_came_from(case: Case) -> None:
    """Both stay open, one is listed; going back lists the first again."""
    shelf = Shelf()
    first = shelf.put(case)
    noted = Notes.of(case, 2).with_age("61")
    second = shelf.put(noted.case, instead_of=first)
    assert [key for key, _ in shelf.listed()] == [second] and shelf.get(first) is case
    assert shelf.put(noted.undone().case, instead_of=second) == first
    assert [key for key, _ in shelf.listed()] == [first]
