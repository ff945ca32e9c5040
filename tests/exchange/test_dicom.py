"""What leaves as DICOM comes back whole through pydicom and highdicom: the same PDF, the same numbers with their intervals.

Predicted numbers never stand among observed ones, codes of our own are named as ours, and without identity no name leaves.
"""

from io import BytesIO
from pathlib import Path
from typing import Any

import highdicom
import pydicom
import pytest
from pydicom.sr.codedict import codes as known

from canalwright.anatomy import Tooth
from canalwright.exchange import Dossier, ExchangeError, codes, dossier_of
from canalwright.exchange.dicom import pdf, sr
from canalwright.exchange.dicom.study import Study
from canalwright.exchange.facts import ASSESSMENT, CHECKED, PLAN, TIMED
from canalwright.planning import CAUTION
from tests.exchange import sample

PDF = b"%PDF-1.7 invented, an odd number of bytes"


@pytest.fixture(scope="module")
def dossier(tmp_path_factory: pytest.TempPathFactory) -> Dossier:
    return sample.dossier(tmp_path_factory.mktemp("records") / "home")


@pytest.fixture(scope="module")
def study(dossier: Dossier) -> Study:
    return Study(dossier, sample.NOW)


def _again(dataset: Any) -> Any:
    return pydicom.dcmread(BytesIO(pdf.saved(dataset)))


@pytest.mark.parametrize("document", [*pdf.SERIES])
def test_pdf_comes_back_byte_for_byte(study: Study, document: str) -> None:
    made = pdf.encapsulated(study, PDF, document)  # type: ignore[arg-type]
    found = _again(made)
    assert pdf.pdf_of(pdf.saved(made)) == PDF
    assert found.EncapsulatedDocumentLength == len(PDF)
    assert found.MIMETypeOfEncapsulatedDocument == "application/pdf"
    assert found.ConceptNameCodeSequence[0].CodingSchemeDesignator == codes.SCHEME
    assert found.CodingSchemeIdentificationSequence[0].CodingSchemeDesignator == codes.SCHEME
    assert str(found.PatientName.family_name) == "Ada Invented"
    assert found.PatientID == "77-1234"
    assert found.StudyInstanceUID == study.uid


def test_what_is_no_pdf_is_told_in_one_line(study: Study, tmp_path: Path) -> None:
    with pytest.raises(ExchangeError, match="no PDF"):
        pdf.encapsulated(study, b"hello", "letter")
    with pytest.raises(ExchangeError, match="cannot be read as DICOM"):
        pdf.pdf_of(b"hello")
    with pytest.raises(ExchangeError, match="not an encapsulated PDF"):
        pdf.pdf_of(pdf.saved(sr.measurements(study, [pdf.encapsulated(study, PDF, "letter")])))
    written = pdf.write(pdf.encapsulated(study, PDF, "letter"), tmp_path / "a.dcm")
    with pytest.raises(FileExistsError):
        pdf.write(pdf.encapsulated(study, PDF, "letter"), written)


def test_every_number_comes_back_with_its_interval(study: Study, dossier: Dossier) -> None:
    report = _again(sr.measurements(study, [pdf.encapsulated(study, PDF, "casebook")]))
    found = sr.read(report)
    assert len(found) == len(dossier.numbers)
    back = {(r.group, r.predicted, r.key): r for r in found}
    for fact in dossier.numbers:
        group = f"46 {fact.canal}".strip()
        read = back[group, fact.kind == "predicted", fact.key]
        assert read.words == fact.words
        assert read.value == pytest.approx(fact.value, rel=1e-5)
        assert (read.low is None, read.high is None) == (fact.low is None, fact.high is None)
        if fact.low is not None and fact.high is not None:
            assert (read.low, read.high) == (pytest.approx(fact.low, rel=1e-5), pytest.approx(fact.high, rel=1e-5))
        assert read.unit == codes.unit_of(fact.unit).value


def test_report_follows_tid_1500_as_highdicom_reads_it(study: Study) -> None:
    made = sr.measurements(study, [pdf.encapsulated(study, PDF, "casebook")])
    read = highdicom.sr.srread(BytesIO(pdf.saved(made)))
    groups = read.content.get_image_measurement_groups()
    assert {g.finding_type.value for g in groups} == {"PREDICTED", "OBSERVED"}
    assert all(g.finding_sites[0].value.value == "866005003" for g in groups)
    grades = [e.value.value for g in groups for e in g.get_qualitative_evaluations()]
    assert grades == ["GRADE-ADEQ"]
    told = [i for i in read.ContentSequence if i.ConceptNameCodeSequence[0].CodeValue == "121106"]
    assert [t.TextValue.startswith(CAUTION) for t in told] == [True]
    assert made.CurrentRequestedProcedureEvidenceSequence[0].ReferencedSeriesSequence


def test_same_content_has_the_same_identifiers_and_other_content_others(study: Study) -> None:
    one, again = (pdf.encapsulated(study, PDF, "letter") for _ in range(2))
    other = pdf.encapsulated(study, PDF + b"!", "letter")
    assert one.SOPInstanceUID == again.SOPInstanceUID != other.SOPInstanceUID
    assert one.SeriesInstanceUID == other.SeriesInstanceUID
    assert all(u.is_valid and len(u) <= 64 for u in (one.SOPInstanceUID, one.StudyInstanceUID))


def test_without_identity_no_name_leaves(tmp_path: Path) -> None:
    """The records hold the name; it is not asked for, so it is nowhere in the bytes."""
    with sample.store_at(tmp_path / "home") as store:
        case = sample.case_in(store)
        view = store.cases.view(case)
        bare = dossier_of(store.vault.key_file.store, view, store.cases.events(case))
    study = Study(bare, sample.NOW)
    document = pdf.encapsulated(study, PDF, "letter")
    for made in (document, sr.measurements(study, [document])):
        data = pdf.saved(made)
        assert b"Invented" not in data
        assert b"77-1234" not in data
        assert view.patient.encode() in data


def test_a_case_without_numbers_makes_no_report(tmp_path: Path) -> None:
    with sample.store_at(tmp_path / "home") as store:
        case = store.cases.open(store.patients.add("ann"), {"tooth": 11}, "ann")
        bare = dossier_of("store", store.cases.view(case), store.cases.events(case))
    with pytest.raises(ExchangeError, match="no number is recorded"):
        sr.measurements(Study(bare, sample.NOW), [])


def test_teeth_have_the_codes_of_cid_4018() -> None:
    listed = {str(c.value) for c in known.cid4018.concepts.values()}
    given = {codes.of_tooth(Tooth(10 * q + p)).value for q in range(1, 5) for p in range(1, 9)}
    assert len(given) == 32
    assert given <= listed


def test_every_number_and_unit_has_a_code_that_fits() -> None:
    keys = [f"plan.{n.key}" for n in PLAN] + [f"assessment.{n.key}" for n in ASSESSMENT]
    for key in (*keys, *(f"check.{k}" for k in CHECKED), *(f"chair.{k}" for k in TIMED)):
        code = codes.of_fact(key, "words")
        assert len(code.value) <= 16
        assert codes.key_of(code.value) == key
    assert len(codes.SCHEME) <= 16
