"""The FHIR bundle is valid R4, comes back with every number, and keeps predicted and observed apart.

`fhir.resources` validates it by its models of R4B. `r4_elements.toml` lists the elements that R4 (4.0.1) itself defines, so that nothing
of another release slips in.
"""

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from fhir.resources.R4B.bundle import Bundle

from canalwright.exchange import Dossier, ExchangeError, codes, dossier_of, fhir
from canalwright.planning import CAUTION
from tests.exchange import sample

PDF = b"%PDF-1.7 invented"
R4 = tomllib.loads((Path(__file__).parent / "r4_elements.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def dossier(tmp_path_factory: pytest.TempPathFactory) -> Dossier:
    return sample.dossier(tmp_path_factory.mktemp("records") / "home")


@pytest.fixture(scope="module")
def made(dossier: Dossier) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(fhir.bundle(dossier, sample.NOW, {"letter": PDF}))
    return found


def _check(kind: str, value: dict[str, Any], where: str) -> None:
    """Every element is one of R4, many where R4 says many, and what R4 requires is there."""
    known = {}
    for word in R4[kind].split():
        name, _, rest = word.partition(":")
        known[name] = (rest.rstrip("*!"), "*" in rest, "!" in rest)
    for name, element in value.items():
        if name == "resourceType":
            continue
        assert name in known, f"{where}.{name} is no element of {kind} in R4"
        target, many, _ = known[name]
        assert isinstance(element, list) == many, f"{where}.{name}"
        for each in element if many else [element]:
            inner = each["resourceType"] if name == "resource" else target
            if isinstance(each, dict):
                _check(inner, each, f"{where}.{name}")
            else:
                assert inner in ("str", "bool", "int", "float", "FHIRDate", "FHIRDateTime", "FHIRInstant"), where
    missing = [n for n, (_, _, required) in known.items() if required and n not in value]
    assert missing == [], f"{where} lacks {missing}"


def test_every_element_is_one_of_r4(made: dict[str, Any]) -> None:
    _check("Bundle", made, "Bundle")


def test_every_number_comes_back_with_its_interval(dossier: Dossier) -> None:
    found = fhir.read(fhir.bundle(dossier, sample.NOW))
    back = {(r.group, r.key, r.predicted): r for r in found}
    assert len(found) == len(back) == len(dossier.numbers)
    for fact in dossier.numbers:
        read = back[f"46 {fact.canal}".strip(), fact.key, fact.kind == "predicted"]
        assert read.value == pytest.approx(fact.value, rel=1e-5)
        for mine, its in ((fact.low, read.low), (fact.high, read.high)):
            assert its == (None if mine is None else pytest.approx(mine, rel=1e-5))
        assert read.unit == codes.unit_of(fact.unit).value
        assert read.words == fact.words


def test_references_point_into_the_bundle_and_identifiers_are_alone(made: dict[str, Any]) -> None:
    urls = [entry["fullUrl"] for entry in made["entry"]]
    assert len(urls) == len(set(urls))
    pointed = set()

    def walk(value: Any) -> None:
        if isinstance(value, dict):
            if set(value) == {"reference"}:
                pointed.add(value["reference"])
            for each in value.values():
                walk(each)
        elif isinstance(value, list):
            for each in value:
                walk(each)

    walk(made)
    assert pointed <= set(urls)
    kinds = {entry["resource"]["resourceType"] for entry in made["entry"]}
    assert kinds == {"Patient", "Procedure", "Observation", "DiagnosticReport"}


def test_predicted_is_preliminary_and_the_caution_stands_in_the_report(made: dict[str, Any]) -> None:
    resources = [entry["resource"] for entry in made["entry"]]
    for r in resources:
        if r["resourceType"] == "Observation":
            predicted = r["method"]["coding"][0]["code"] == "PREDICTED"
            assert r["status"] == ("preliminary" if predicted else "final")
    report = next(r for r in resources if r["resourceType"] == "DiagnosticReport")
    assert CAUTION in report["conclusion"]
    assert "A void smaller than an image can show" in report["text"]["div"]
    assert report["presentedForm"][0]["size"] == len(PDF)


def test_tooth_has_its_number_by_iso_3950_and_its_snomed_code(made: dict[str, Any]) -> None:
    procedure = next(e["resource"] for e in made["entry"] if e["resource"]["resourceType"] == "Procedure")
    coded = {c["system"]: c["code"] for c in procedure["bodySite"][0]["coding"]}
    assert coded == {codes.SNOMED: "866005003", codes.ISO_3950: "46"}
    assert procedure["performedDateTime"] == "2024-11-20"
    assert procedure["code"]["coding"][0]["system"] == codes.SYSTEM


def test_without_identity_no_name_leaves(tmp_path: Path) -> None:
    with sample.store_at(tmp_path / "home") as store:
        case = sample.case_in(store)
        bare = dossier_of(store.vault.key_file.store, store.cases.view(case), store.cases.events(case))
    content = fhir.bundle(bare, sample.NOW)
    assert b"Invented" not in content
    assert b"1970" not in content
    assert bare.view.patient.encode() in content


def test_hostile_text_stays_text(tmp_path: Path) -> None:
    with sample.store_at(tmp_path / "home") as store:
        who = sample.Identity("<script>\"&'", "1970-02-03")
        patient = store.patients.add("ann", who)
        case = store.cases.open(patient, {"tooth": 46}, "ann")
        store.cases.record(case, sample.Kind.CHECK, {"on": "2024-11-20", "short_mm": 1.0, "canal": "<b>&"}, "ann")
        found = dossier_of("s", store.cases.view(case), store.cases.events(case), who)
    content = json.loads(fhir.bundle(found, sample.NOW))
    assert "&lt;b&gt;&amp;" in content["entry"][0]["resource"]["text"]["div"]
    assert Bundle.model_validate(content)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{}",
        b'{"resourceType": "Patient"}',
        b'{"resourceType": "Bundle", "type": 7}',
        b'{"resourceType": "Bundle", "type": "collection", "entry": [{"resource": {"resourceType": "Observatign"}}]}',
    ],
)
def test_what_is_no_bundle_is_told_in_one_line(content: bytes) -> None:
    with pytest.raises(ExchangeError, match="not a FHIR R4 bundle") as caught:
        fhir.read(content)
    assert "\n" not in str(caught.value)
