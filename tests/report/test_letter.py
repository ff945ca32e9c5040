"""Letter and leaflet say what the records say, with intervals and the caution, in words that a clinic may change safely.

A field that does not exist, a brace alone, a table within a sentence are told in one line; a paragraph that the records cannot
fill is left out and told; numbers typed by hand are told apart from those of the records.
"""

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
import typst
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.exchange import LEAVES_OUT, Dossier
from canalwright.planning import CAUTION
from canalwright.report.casebook import Verified, casebook_pdf, event_words
from canalwright.report.handover import FIELDS, Given, head, number, rows, spread, tables, values
from canalwright.report.leaflet import leaflet_pdf
from canalwright.report.letter import letter_pdf
from canalwright.report.typeset import inputs, template
from canalwright.report.wording import BLOCKS, DOCUMENTS, LANGUAGES, WordingError, fill, read, wording
from canalwright.report.words import sheet
from canalwright.web.words import words_of
from tests.exchange import sample
from tests.report.sample import plan, retitled
from tests.report.test_section import NASTY

GIVEN = Given("Dr Invented", "Invented Practice\n1 Sample Street", "+00 000 000", "2026-11-25")


@pytest.fixture(scope="module")
def dossier(tmp_path_factory: pytest.TempPathFactory) -> Dossier:
    return sample.dossier(tmp_path_factory.mktemp("records") / "home")


def test_names_of_numbers_are_those_of_the_card(dossier: Dossier) -> None:
    known = {i.words for part in (sheet(plan()).cone, sheet(plan()).heat, sheet(plan()).fill) for i in part}
    known |= {"working length", "backfill ends at", "chance of gutta-percha past the terminus"}
    assert {f.words for f in dossier.numbers if f.kind == "predicted"} <= known


def test_every_number_has_its_interval_or_says_how_it_came_about(dossier: Dossier) -> None:
    for fact, row in zip(dossier.numbers, rows(dossier.numbers), strict=True):
        assert row[1] == number(fact)
        if fact.kind in ("predicted", "measured", "read from an image"):
            assert re.fullmatch(r".+(–| to ).+", spread(fact)), fact
        else:
            assert spread(fact) == "-"
            assert row[3] in ("timed at the chair", "entered by hand")


def test_the_letter_says_what_was_measured_which_canals_were_kept_and_intervals_in_its_language(
    dossier: Dossier,
) -> None:
    """A working length is no prediction; a canal that nothing was kept of was not filled, for all that the letter knows."""
    assert {f.kind for f in dossier.numbers if f.key == "plan.working_length"} == {"measured"}
    spanish = words_of("es")
    assert values(dossier, GIVEN)["canals_kept"] == "mesiobuccal, distal (not kept: mesiolingual)"
    assert (
        values(dossier, GIVEN, spanish, "es")["canals_kept"] == "mesiovestibular, distal (sin registro: mesiolingual)"
    )
    fact = next(f for f in dossier.numbers if f.key == "plan.heat.margin")
    assert spread(replace(fact, low=-4.0, high=7.2), spanish) == "−4.0 a 7.2"
    assert "its canals were filled" not in wording("letter", "en")


def test_a_correction_counts_and_not_what_it_corrected(dossier: Dossier) -> None:
    entered = {f.key: f.value for f in dossier.numbers if f.kind == "entered"}
    assert entered == {"check.short_mm": 0.8, "check.void_percent": 1.0}


@pytest.mark.parametrize("document", DOCUMENTS)
@pytest.mark.parametrize("language", LANGUAGES)
def test_texts_that_come_along_fill_whole(dossier: Dossier, document: str, language: str) -> None:
    say = words_of(language)
    make = letter_pdf if document == "letter" else leaflet_pdf
    pdf, filled = make(dossier, wording(document, language), GIVEN, say=say, language=language)
    assert pdf.startswith(b"%PDF")
    assert filled.left_out == ()
    assert "{" not in filled.text
    assert pdf == make(dossier, wording(document, language), GIVEN, say=say, language=language)[0]


@pytest.mark.parametrize("name", ["letter", "leaflet"])
def test_caution_and_what_is_left_out_are_printed_whatever_the_text_says(dossier: Dossier, name: str) -> None:
    data = head(dossier, GIVEN, lambda t: t, "en")
    assert data["caution"] == CAUTION
    assert data["leaves_out"] == LEAVES_OUT
    assert "#d.caution" in template(name).decode()
    assert "#d.leaves_out" in template(name).decode()
    letter_pdf(dossier, "Only this.", GIVEN)


def test_spanish_catalogue_knows_every_word_of_the_tables(dossier: Dossier) -> None:
    spanish = words_of("es")
    told = {row[i] for t in tables(dossier) for row in t["rows"] for i in (0, 3)} | {LEAVES_OUT, CAUTION}
    told |= {"number", "interval", "comes from", "Numbers of this treatment, for your dentist", "The tooth as a whole"}
    told |= {
        "Grade of the filling",
        "Read from",
        "Not seen on this image",
        "radiograph",
        "adequate",
        "depths from the {point}",
    }
    assert sorted(t for t in told if spanish.known(t) is None) == []


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Dear {collegue},", "line 1: there is no field {collegue}; the fields are "),
        ("a\n\nTooth {tooth", "line 3: a brace without its partner"),
        ("See {canals} here", "line 1: {canals} is a table and stands alone"),
        ("{phone}", "nothing is left to print"),
        ("", "nothing is left to print"),
        ("x" * 20_001, "20001 characters"),
    ],
)
def test_a_text_that_cannot_be_used_is_told_in_one_line(dossier: Dossier, text: str, said: str) -> None:
    with pytest.raises(WordingError, match=re.escape(said)) as caught:
        fill(text, values(dossier, Given()))
    assert "\n" not in str(caught.value)


def test_what_cannot_be_filled_is_left_out_and_told(dossier: Dossier) -> None:
    filled = fill("Tooth {tooth_code}.\n\nCall {phone}\nor {clinic}.\n\n- one\n- two", values(dossier, Given()))
    assert [(p.kind, p.text) for p in filled.parts] == [("text", "Tooth 46."), ("item", "one"), ("item", "two")]
    assert filled.left_out == (("Call {phone} or {clinic}.", ("phone", "clinic")),)


def test_numbers_typed_by_hand_are_told_apart(dossier: Dossier) -> None:
    filled = fill("It ends {check_end}, I say 0.3 mm, file 25/.06.", values(dossier, Given()))
    assert filled.typed[0] == "0.3"
    assert "0.8" not in filled.typed


def test_a_clinics_own_text_is_taken_and_a_file_that_is_none_refused(tmp_path: Path) -> None:
    (tmp_path / "letter.en.md").write_text("Hello {patient}", encoding="utf-8")
    assert wording("letter", "en", tmp_path) == "Hello {patient}"
    assert wording("letter", "es", tmp_path).startswith("# ")
    (tmp_path / "bad.md").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(WordingError, match="not a UTF-8 text"):
        read(tmp_path / "bad.md")
    with pytest.raises(WordingError, match="languages"):
        wording("letter", "../es")


@settings(deadline=None, max_examples=6)
@given(st.lists(st.sampled_from([NASTY, '#import "x"', "$ x $", "*a* _b_ @c <d>"]), min_size=1, max_size=3))
def test_no_text_is_read_as_markup(texts: list[str]) -> None:
    data = {"title": "t", "caution": "c", "leaves_out": "l", "from": "f", "page_of": "p", "language": "en", "clinic": texts[0],
            "colleague": texts[-1], "date": "", "refers": [["a", t] for t in texts], "parts": [["text", t] for t in texts],
            "tables": [], "columns": ["", "", "", ""]}  # fmt: skip
    pages = typst.compile(template("letter"), format="svg", sys_inputs=inputs(data, "a4"), ignore_system_fonts=True)
    assert pages


def test_casebook_has_every_entry_in_order_with_its_hash_and_the_verdict(dossier: Dossier) -> None:
    plans = {c.plan_seq: retitled(plan(), c.name) for c in dossier.canals}
    caught: dict[str, object] = {}

    def told(name: str, data: dict[str, object], paper: str = "a4") -> bytes:
        caught.update(data)
        return json.dumps(data).encode()

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("canalwright.report.casebook.typeset", told)
        casebook_pdf(dossier, Verified(True, 14, "ab" * 32, "", "2026-11-25 08:00"), plans)
    events = caught["events"]
    assert isinstance(events, list)
    assert [int(row[0]) for row in events] == [e.seq for e in dossier.events]
    assert [row[5].replace(" ", "") for row in events] == [e.hash for e in dossier.events]
    assert any(row[4].startswith("[corrected by entry") for row in events)
    assert "Verified 2026-11-25 08:00: all 14 entries" in str(caught["chain"])
    assert all("the same plan as kept" in s["note"] for s in caught["sections"])  # type: ignore[attr-defined]
    assert casebook_pdf(dossier, Verified(), plans).startswith(b"%PDF")


def test_casebook_says_when_the_chain_is_broken_or_nobody_looked(dossier: Dossier) -> None:
    broken = Verified(False, found="row 3 is not as it was written")
    for verified, said in ((broken, "NOT as it was written. row 3"), (Verified(), "Not verified")):
        caught: list[str] = []
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(
                "canalwright.report.casebook.typeset", lambda n, d, p, c=caught: c.append(str(d["chain"])) or b""
            )
            casebook_pdf(dossier, verified)
        assert said in caught[0]


def test_a_plan_made_again_that_differs_says_so(dossier: Dossier) -> None:
    other = retitled(plan(rounds=2), "mesiobuccal")
    caught: list[str] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            "canalwright.report.casebook.typeset", lambda n, d, p, c=caught: c.append(d["sections"][0]["note"]) or b""
        )
        casebook_pdf(dossier, Verified(), {dossier.canals[0].plan_seq: other})
    assert "differs from the kept plan" in caught[0]


def test_large_content_is_told_by_size_and_hash(dossier: Dossier) -> None:
    for event in dossier.events:
        assert len(event_words(event)) < 1000
    assert tuple(sorted(values(dossier, GIVEN))) == FIELDS
    assert set(BLOCKS) <= set(values(dossier, GIVEN))


def test_a_filling_beyond_the_terminus_is_told_as_beyond(tmp_path: Path) -> None:
    for short, said in (
        (0.8, "0.8 mm short of the radiographic terminus"),
        (-0.5, "0.5 mm beyond the radiographic terminus"),
    ):
        with sample.store_at(tmp_path / str(short)) as store:
            case = store.cases.open(store.patients.add("ann"), {"tooth": 46}, "ann")
            store.cases.record(case, sample.Kind.CHECK, {"on": "2024-11-20", "short_mm": short}, "ann")
            found = sample.dossier_of("s", store.cases.view(case), store.cases.events(case))
        assert values(found, Given())["check_end"] == said
