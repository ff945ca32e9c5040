"""A case as an HL7 FHIR R4 bundle (4.0.1): Patient, Procedure, Observation, DiagnosticReport; and its numbers back out of one.

Written with the models of `fhir.resources` for R4B; of the resources used here R4 and R4B have the same elements, and the tests hold every
element against the list of R4. Each number is an Observation whose value has its unit in UCUM and whose two components are the ends
of its 5-95 % interval; a predicted one is preliminary and says by its method that it was predicted. Codes: see `exchange.codes`.
"""

import base64
import json
import uuid
from collections.abc import Mapping
from datetime import datetime
from html import escape
from typing import Any

from fhir.resources.R4B.bundle import Bundle
from fhir.resources.R4B.observation import Observation
from pydantic import ValidationError

from canalwright.exchange import codes
from canalwright.exchange.codes import Code
from canalwright.exchange.dossier import Dossier
from canalwright.exchange.errors import ExchangeError
from canalwright.exchange.facts import LEAVES_OUT, Fact, Returned
from canalwright.planning.product import CAUTION

_ROOT = uuid.UUID("8d9a2a36-6f0e-5a0b-9d2c-3a1d6b7a5c4e")
_SYSTEMS = {"SCT": codes.SNOMED, "UCUM": codes.UCUM_SYSTEM, codes.SCHEME: codes.SYSTEM}


def bundle(dossier: Dossier, now: datetime, documents: Mapping[str, bytes] | None = None) -> bytes:
    """The case as JSON bytes of a bundle of type collection. `now` is when it is written (UTC); `documents` are PDFs by their kind.

    Raises ExchangeError where the models of FHIR refuse it.
    """
    patient, procedure = _patient(dossier), _procedure(dossier)
    observations = [_observation(dossier, f) for f in dossier.numbers] + _recall(dossier)
    report = _report(dossier, now, observations, documents or {})
    made = {
        "resourceType": "Bundle",
        "type": "collection",
        "timestamp": _instant(now),
        "identifier": {"system": _system(dossier), "value": dossier.view.case_id},
        "entry": [
            {"fullUrl": f"urn:uuid:{r['id']}", "resource": r} for r in (report, patient, procedure, *observations)
        ],
    }
    try:
        checked = Bundle.model_validate(made)
    except ValidationError as error:
        raise ExchangeError(f"case {dossier.view.case_id}: FHIR refuses it: {_first(error)}") from None
    return (json.dumps(json.loads(checked.model_dump_json()), indent=1, ensure_ascii=False) + "\n").encode()


def read(content: bytes, name: str = "bundle") -> list[Returned]:
    """The numbers of a bundle, ours by their key. Raises ExchangeError when it is none of FHIR R4."""
    try:
        found = Bundle.model_validate_json(content)
        resources = [entry.resource for entry in found.entry or []]
        return [
            _returned(o)
            for o in resources
            if isinstance(o, Observation) and o.valueQuantity is not None and o.valueQuantity.value is not None
        ]
    except ValidationError as error:
        raise ExchangeError(f"{name}: not a FHIR R4 bundle: {_first(error)}") from None
    except Exception as error:  # the models raise of every kind, e.g. for a type that FHIR does not have
        said = " ".join(f"{type(error).__name__}: {error}".split())[:80]
        raise ExchangeError(f"{name}: not a FHIR R4 bundle: {said}") from None


def _returned(o: Any) -> Returned:
    first = o.code.coding[0] if o.code.coding else None
    ends = {
        c.code.coding[0].code: float(c.valueQuantity.value)
        for c in o.component or []
        if c.code.coding and c.valueQuantity is not None and c.valueQuantity.value is not None
    }
    method = o.method.coding[0].code if o.method and o.method.coding else ""
    return Returned(
        codes.key_of(first.code) if first is not None and first.system == codes.SYSTEM else "",
        str(o.bodySite.text or "") if o.bodySite else "",
        method == codes.PREDICTED.value,
        str(o.code.text or ""),
        float(o.valueQuantity.value),
        ends.get(codes.LOW_END.value),
        ends.get(codes.HIGH_END.value),
        str(o.valueQuantity.code or ""),
    )


def _patient(dossier: Dossier) -> dict[str, Any]:
    view, who = dossier.view, dossier.identity
    identifiers: list[dict[str, Any]] = [{"use": "usual", "system": _system(dossier), "value": view.patient}]
    made: dict[str, Any] = {"resourceType": "Patient", "id": _id(dossier, "patient"), "active": True}
    if who and who.number:
        identifiers.append(
            {"use": "secondary", "type": {"text": "number in the files of the practice"}, "value": who.number}
        )
    if who and who.name:
        made["name"] = [{"text": who.name}]
    if who and who.born:
        made["birthDate"] = who.born
    return made | {"identifier": identifiers}


def _procedure(dossier: Dossier) -> dict[str, Any]:
    view = dossier.view
    made: dict[str, Any] = {
        "resourceType": "Procedure",
        "id": _id(dossier, "procedure"),
        "identifier": [{"system": _system(dossier), "value": view.case_id}],
        "status": "completed" if view.filled else "preparation",
        "code": _concept(codes.PROCEDURE),
        "subject": _to(dossier, "patient"),
        "bodySite": [_tooth(dossier, "")],
    }
    return made | ({"performedDateTime": view.filled} if view.filled else {})


def _observation(dossier: Dossier, fact: Fact) -> dict[str, Any]:
    predicted = fact.kind == "predicted"
    event = next((e for e in dossier.now if e.seq == fact.seq), dossier.now[-1])
    unit = codes.unit_of(fact.unit)
    ends = [(codes.LOW_END, fact.low), (codes.HIGH_END, fact.high)]
    note = f"{fact.kind}, entry {fact.seq} of the records"
    if fact.supposed:
        note += f"; {100 * fact.supposed:.0f} % of the doubt rests on averages or assumptions"
    made: dict[str, Any] = {
        "resourceType": "Observation",
        "id": _id(dossier, f"{fact.canal} {fact.key} {fact.seq}"),
        "status": "preliminary" if predicted else "final",
        "code": _concept(codes.of_fact(fact.key, fact.words)) | {"text": fact.words},
        "subject": _to(dossier, "patient"),
        "effectiveDateTime": _instant(event.happened),
        "bodySite": _tooth(dossier, fact.canal),
        "method": _concept(codes.PREDICTED if predicted else codes.OBSERVED),
        "valueQuantity": _quantity(fact.value, unit),
        "note": [{"text": note}],
        "partOf": [_to(dossier, "procedure")],
    }
    parts = [{"code": _concept(code), "valueQuantity": _quantity(v, unit)} for code, v in ends if v is not None]
    return made | ({"component": parts} if parts else {})


def _recall(dossier: Dossier) -> list[dict[str, Any]]:
    """Periapical index of each recall, and the outcome at the last."""
    made = []
    for visit in dossier.visits:
        if visit.worst is not None:
            made.append(
                _bare(dossier, f"index {visit.on}", codes.PERIAPICAL_INDEX, visit.on.isoformat())
                | {"valueInteger": visit.worst}
            )
    if dossier.view.outcome and dossier.visits:
        text = {"valueCodeableConcept": {"text": dossier.view.outcome}}
        made.append(_bare(dossier, "outcome", codes.OUTCOME, dossier.visits[-1].on.isoformat()) | text)
    return made


def _bare(dossier: Dossier, name: str, code: Code, on: str) -> dict[str, Any]:
    return {
        "resourceType": "Observation",
        "id": _id(dossier, name),
        "status": "final",
        "code": _concept(code),
        "subject": _to(dossier, "patient"),
        "effectiveDateTime": on,
        "bodySite": _tooth(dossier, ""),
        "method": _concept(codes.OBSERVED),
    }


def _report(
    dossier: Dossier, now: datetime, observations: list[dict[str, Any]], documents: Mapping[str, bytes]
) -> dict[str, Any]:
    view = dossier.view
    rows = "".join(
        f"<tr><td>{escape(f.canal)}</td><td>{escape(f.words)}</td><td>{f.value:.{f.digits}f} {escape(f.unit)}</td>"
        f"<td>{_span(f)}</td><td>{escape(f.kind)}</td></tr>"
        for f in dossier.numbers
    )
    table = f"<table><tbody>{rows}</tbody></table>" if rows else ""
    div = (
        f'<div xmlns="http://www.w3.org/1999/xhtml"><p>Tooth {escape(str(dossier.tooth))}</p>{table}'
        f"<p>{escape(CAUTION)} {escape(LEAVES_OUT)}</p></div>"
    )
    made: dict[str, Any] = {
        "resourceType": "DiagnosticReport",
        "id": _id(dossier, "report"),
        "identifier": [{"system": _system(dossier), "value": view.case_id}],
        "status": "final" if view.filled else "preliminary",
        "code": _concept(codes.REPORT),
        "subject": _to(dossier, "patient"),
        "issued": _instant(now),
        "text": {"status": "generated", "div": div},
        "conclusion": f"{view.outcome or view.status}. {CAUTION}",
    }
    if view.filled:
        made["effectiveDateTime"] = view.filled
    if observations:
        made["result"] = [{"reference": f"urn:uuid:{o['id']}"} for o in observations]
    if documents:
        made["presentedForm"] = [
            {
                "contentType": "application/pdf",
                "title": codes.DOCUMENTS[kind].meaning,
                "data": base64.b64encode(pdf).decode(),
                "size": len(pdf),
            }
            for kind, pdf in documents.items()
        ]
    return made


def _span(fact: Fact) -> str:
    if fact.low is None and fact.high is None:
        return ""
    return " to ".join("no limit" if end is None else f"{end:.{fact.digits}f}" for end in (fact.low, fact.high))


def _tooth(dossier: Dossier, canal: str) -> dict[str, Any]:
    tooth = dossier.tooth
    number = {"system": codes.ISO_3950, "code": str(tooth.code), "display": f"tooth {tooth.code} by ISO 3950"}
    return {"coding": [_coding(codes.of_tooth(tooth)), number], "text": f"{tooth.code} {canal}".strip()}


def _concept(code: Code) -> dict[str, Any]:
    return {"coding": [_coding(code)], "text": code.meaning}


def _coding(code: Code) -> dict[str, Any]:
    return {"system": _SYSTEMS[code.scheme], "code": code.value, "display": code.meaning}


def _quantity(value: float, unit: Code) -> dict[str, Any]:
    return {"value": float(f"{value:.6g}"), "unit": unit.meaning, "system": codes.UCUM_SYSTEM, "code": unit.value}


def _system(dossier: Dossier) -> str:
    """The namespace of pseudonyms and case names of one set of records."""
    return f"urn:uuid:{uuid.uuid5(_ROOT, f'records {dossier.store}')}"


def _id(dossier: Dossier, name: str) -> str:
    return str(uuid.uuid5(_ROOT, f"{dossier.store} {dossier.view.case_id} {name}"))


def _to(dossier: Dossier, name: str) -> dict[str, str]:
    return {"reference": f"urn:uuid:{_id(dossier, name)}"}


def _instant(when: datetime) -> str:
    return when.strftime("%Y-%m-%dT%H:%M:%S+00:00")


def _first(error: ValidationError) -> str:
    """The first complaint, in one line."""
    found = error.errors()[0]
    return f"{'.'.join(str(part) for part in found['loc'])}: {found['msg']}".replace("\n", " ")
