"""Measurements of a case as a DICOM structured report by TID 1500, and back.

One measurement group (TID 1501) for each canal and for each kind of number: predicted apart from observed, so that a receiver can never
take one for the other. Each measurement has its value, unit (UCUM), finding site (the tooth in SNOMED CT) and, where there is one, both
ends of its 5-95 % interval. The caution and what the numbers leave out stand in the report as text.
"""

from collections.abc import Sequence
from io import BytesIO
from typing import Any

from highdicom import sr
from pydicom.sr.codedict import codes as known

from canalwright import __version__
from canalwright.exchange import codes
from canalwright.exchange.dicom.pdf import saved
from canalwright.exchange.dicom.study import MANUFACTURER, Study, concept, scheme, uid
from canalwright.exchange.dossier import Dossier
from canalwright.exchange.errors import ExchangeError
from canalwright.exchange.facts import LEAVES_OUT, Fact, Returned
from canalwright.planning.product import CAUTION

SERIES = 910
_COMMENT: Any = known.DCM.Comment


def measurements(study: Study, evidence: Sequence[Any]) -> Any:
    """The report as a dataset. `evidence` are objects of the same study that it goes with (images, an encapsulated PDF): at least one.

    Raises ExchangeError when the case has no number, or there is nothing to go with.
    """
    dossier = study.dossier
    groups = [g for g in _groups(dossier) if g[3]]
    if not groups:
        raise ExchangeError(f"case {dossier.view.case_id}: no number is recorded; keep a plan or a check first")
    if not evidence:
        raise ExchangeError("a structured report goes with an image or document of its study: give one")
    context = sr.ObservationContext(
        observer_device_context=sr.ObserverContext(
            observer_type=known.DCM.Device,
            observer_identifying_attributes=sr.DeviceObserverIdentifyingAttributes(
                uid=uid("program", "canalwright", __version__), name="canalwright", manufacturer_name=MANUFACTURER,
                model_name=f"canalwright {__version__}",
            ),
        )
    )  # fmt: skip
    report = sr.MeasurementReport(
        observation_context=context,
        procedure_reported=concept(codes.PROCEDURE),
        imaging_measurements=[_group(study, *g) for g in groups],
        title=known.DCM.ImagingMeasurementReport,
    )
    text = sr.TextContentItem(_COMMENT, f"{CAUTION} {LEAVES_OUT}", sr.RelationshipTypeValues.CONTAINS)
    report[0].ContentSequence.append(text)
    series = study.series("measurements", SERIES, "Measurements of a root canal treatment", dossier.events[-1].hash)
    return sr.Comprehensive3DSR(
        evidence=list(evidence), content=report, is_complete=True, is_final=False, is_verified=False,
        coding_schemes=[scheme()], **series,
    )  # fmt: skip


def read(dataset: Any) -> list[Returned]:
    """The numbers of a report by TID 1500. Raises ExchangeError for another document."""
    if str(dataset.get("SOPClassUID")) not in {str(u) for u in sr.SOP_CLASS_UIDS}:
        raise ExchangeError("not a structured report; give one by TID 1500")
    try:
        report: Any = sr.srread(BytesIO(saved(dataset))).content
        groups = report.get_image_measurement_groups()
    except (AttributeError, KeyError, ValueError, TypeError) as error:
        raise ExchangeError(f"this structured report does not follow TID 1500 ({error})") from None
    found = []
    for group in groups:
        finding = group.finding_type
        name = str(group.tracking_identifier or "")
        for measurement in group.get_measurements():
            ends = _ends(measurement)
            found.append(
                Returned(
                    codes.key_of(measurement.name.value) if measurement.name.scheme_designator == codes.SCHEME else "",
                    name,
                    finding is not None and finding.value == codes.PREDICTED.value,
                    str(measurement.name.meaning),
                    float(measurement.value),
                    ends.get(codes.LOW_END.value),
                    ends.get(codes.HIGH_END.value),
                    str(measurement.unit.value),
                )
            )
    return found


def _groups(dossier: Dossier) -> list[tuple[str, bool, str, list[Fact]]]:
    """Name, whether predicted, grade and numbers of each group."""
    found: list[tuple[str, bool, str, list[Fact]]] = []
    for canal in dossier.canals:
        grade = (canal.assessment or {}).get("grade")
        word = str(grade.get("word") or "") if isinstance(grade, dict) else ""
        name = f"{dossier.tooth.code} {canal.name}"
        found.append((name, True, "", [f for f in canal.facts if f.kind == "predicted"]))
        found.append((name, False, word, [f for f in canal.facts if f.kind != "predicted"]))
    found.append((f"{dossier.tooth.code}", False, "", list(dossier.facts)))
    return found


def _group(
    study: Study, name: str, predicted: bool, grade: str, facts: list[Fact]
) -> sr.MeasurementsAndQualitativeEvaluations:
    kind = codes.PREDICTED if predicted else codes.OBSERVED
    site = sr.FindingSite(concept(codes.of_tooth(study.dossier.tooth)))
    tracked = uid("group", study.dossier.store, study.dossier.view.case_id, name, kind.value)
    evaluations = (
        [sr.QualitativeEvaluation(concept(codes.GRADE), concept(codes.GRADES[grade]))]
        if grade in codes.GRADES
        else None
    )
    return sr.MeasurementsAndQualitativeEvaluations(
        tracking_identifier=sr.TrackingIdentifier(tracked, name),
        finding_type=concept(kind),
        finding_sites=[site],
        measurements=[_measurement(f) for f in facts],
        qualitative_evaluations=evaluations,
    )


def _measurement(fact: Fact) -> sr.Measurement:
    unit = concept(codes.unit_of(fact.unit))
    ends = [(codes.LOW_END, fact.low), (codes.HIGH_END, fact.high)]
    properties = sr.MeasurementProperties()
    for code, value in ends:
        if value is not None:
            item = sr.NumContentItem(
                concept(code), _decimal(value), unit, relationship_type=sr.RelationshipTypeValues.HAS_PROPERTIES
            )
            properties.append(item)
    return sr.Measurement(
        name=concept(codes.of_fact(fact.key, fact.words)), value=_decimal(fact.value), unit=unit,
        properties=properties if len(properties) else None,
    )  # fmt: skip


def _ends(measurement: Any) -> dict[str, float]:
    inside = measurement[0].get("ContentSequence", [])
    return {
        str(item.ConceptNameCodeSequence[0].CodeValue): float(item.MeasuredValueSequence[0].NumericValue)
        for item in inside
        if item.ValueType == "NUM" and item.ConceptNameCodeSequence[0].get("CodingSchemeDesignator") == codes.SCHEME
    }


def _decimal(value: float) -> float:
    """At most six significant decimals: a decimal string of DICOM holds 16 characters."""
    return float(f"{value:.6g}")
