"""The verbs that hand a case over: what they write, that it is noted with the case, and that nothing is written over."""

import json
from pathlib import Path

import pydicom
import pytest

from canalwright.cli import main
from canalwright.exchange import fhir
from canalwright.exchange.dicom import pdf, sr
from canalwright.records import Kind, Store
from tests.exchange import marked, sample
from tests.records.conftest import SECRET


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("CANALWRIGHT_PASSPHRASE", SECRET.text)
    return tmp_path / "records"


@pytest.fixture
def case(home: Path) -> str:
    with sample.store_at(home) as store:
        return sample.case_in(store)


def _run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as left:
        main([str(a) for a in arguments])
    said = capsys.readouterr()
    return int(left.value.code or 0), said.out, said.err


def test_letter_and_leaflet_are_written_and_their_words_kept(
    home: Path, case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "l.pdf"
    code, said, _ = _run(capsys, "letter", home, case, out, "--identity", "--to", "Dr Invented", "--language", "es")
    assert (code, said) == (0, f"wrote {out}; it is not encrypted\n")
    assert out.read_bytes().startswith(b"%PDF")
    code, said, _ = _run(capsys, "leaflet", home, case, tmp_path / "f.pdf", "--json")
    told = json.loads(said)
    assert told["notes"] == ["left out, nothing recorded for phone: You reach us at {phone}."]
    with Store.open(home, SECRET) as store:
        kept = [e.payload for e in store.cases.events(case) if e.kind is Kind.EXPORT]
    assert [(k["what"], k["language"]) for k in kept if k] == [("letter", "es"), ("leaflet", "en")]
    assert all("{tooth" in str(k["text"]) for k in kept if k)


def test_a_clinics_own_words_are_taken(
    home: Path, case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    own = tmp_path / "own.md"
    own.write_text("Dear {colleage},", encoding="utf-8")
    code, _, said = _run(capsys, "letter", home, case, tmp_path / "l.pdf", "--text", own)
    assert code == 2
    assert said.startswith("canalwright: text, line 1: there is no field {colleage}; the fields are ")
    assert not (tmp_path / "l.pdf").exists()
    (home / "wordings").mkdir()
    (home / "wordings" / "letter.en.md").write_text("Tooth {tooth_code}, file 25.", encoding="utf-8")
    code, said, _ = _run(capsys, "letter", home, case, tmp_path / "l.pdf")
    assert "typed by hand, not from the records: 25" in said


def test_casebook_fhir_and_dicom(home: Path, case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, said, _ = _run(capsys, "casebook", home, case, tmp_path / "c.pdf", "--no-drawings", "--json")
    assert code == 0
    assert json.loads(said)["verified"] is True
    assert _run(capsys, "export", "fhir", home, case, tmp_path / "b.json", "--pdf", tmp_path / "c.pdf")[0] == 0
    content = (tmp_path / "b.json").read_bytes()
    assert len(fhir.read(content)) == 40
    assert b"Invented" not in content
    assert (
        _run(capsys, "export", "dicom", home, case, tmp_path / "d", "--pdf", tmp_path / "c.pdf", "--kind", "casebook")[
            0
        ]
        == 0
    )
    assert pdf.pdf_of((tmp_path / "d" / "document.dcm").read_bytes()) == (tmp_path / "c.pdf").read_bytes()
    assert len(sr.read(pydicom.dcmread(tmp_path / "d" / "measurements.dcm"))) == 40


def test_nothing_is_written_over_nor_noted_when_refused(
    home: Path, case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    there = tmp_path / "there.pdf"
    there.write_text("mine", encoding="utf-8")
    for verb in (("letter",), ("casebook",), ("export", "fhir")):
        code, _, said = _run(capsys, *verb, home, case, there)
        assert (code, said) == (2, f"canalwright: {there}: is there already; name another, nothing is written over\n")
    assert there.read_text(encoding="utf-8") == "mine"
    with Store.open(home, SECRET) as store:
        assert not [e for e in store.cases.events(case) if e.kind is Kind.EXPORT]


def test_deidentify_tells_what_was_done_and_names_no_value(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source = tmp_path / "a.dcm"
    source.write_bytes(marked.as_bytes(marked.stuffed(marked.picture(), marked.public_tags()[:60])))
    code, said, _ = _run(capsys, "deidentify", source, "--out", tmp_path / "out", "--key", tmp_path / "key")
    assert code == 0
    assert said.startswith("wrote 1 files and report.json")
    assert "not done: Text in the picture is suspected" in said
    assert marked.traces(said.encode()) == []
    code, _, told = _run(capsys, "deidentify", source, "--out", tmp_path / "out")
    assert code == 2
    assert "nothing is written over" in told
