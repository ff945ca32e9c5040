"""Codes for what is handed over: official ones only where a standard itself carries them, our own scheme for the rest.

Teeth: SNOMED CT as DICOM PS3.16 CID 4018 lists them (read from pydicom's copy), beside ISO 3950 as a number. Units: UCUM. Everything
else - our numbers, findings and the procedure - has a code of the private scheme `99CANALWRIGHT`, named as ours in every file: a
receiver that does not know it shows the meaning. No SNOMED CT code is given from memory.
"""

from dataclasses import dataclass
from typing import Any

from pydicom.sr.codedict import codes

from canalwright.anatomy.tooth import Tooth

SCHEME = "99CANALWRIGHT"
SCHEME_NAME = "canalwright: numbers of warm vertical compaction"
SYSTEM = "urn:uuid:8d9a2a36-6f0e-5a0b-9d2c-3a1d6b7a5c4e"
"""The same scheme where a URI is wanted (FHIR)."""
SNOMED = "http://snomed.info/sct"
UCUM_SYSTEM = "http://unitsofmeasure.org"
ISO_3950 = "urn:iso:std:iso:3950"
"""No code system URI of ISO 3950 is registered with HL7 (as far as is known here): this one is made from the standard's number."""


@dataclass(frozen=True, slots=True)
class Code:
    """A code, the designator of its scheme, and what it means."""

    value: str
    scheme: str
    meaning: str


def ours(value: str, meaning: str) -> Code:
    """A code of the private scheme."""
    return Code(value, SCHEME, meaning)


PROCEDURE = ours("ROOT-FILL", "Root canal filling by warm vertical compaction")
PREDICTED = ours("PREDICTED", "Numbers predicted by a plan")
OBSERVED = ours("OBSERVED", "Numbers read, timed or entered")
LOW_END = ours("END-5", "Lower end of the 5-95 % interval")
HIGH_END = ours("END-95", "Upper end of the 5-95 % interval")
GRADE = ours("GRADE", "Grade of the root canal filling")
GRADES = {
    "adequate": ours("GRADE-ADEQ", "Adequate"),
    "inadequate": ours("GRADE-INADEQ", "Inadequate"),
    "uncertain": ours("GRADE-UNCERT", "Uncertain"),
}
REPORT = ours("CASE-REPORT", "Report of a root canal treatment")
PERIAPICAL_INDEX = ours("PERIAP-INDEX", "Periapical index of the worst root, 1 healthy to 5 severe")
OUTCOME = ours("OUTCOME", "Outcome at the recall")
DOCUMENTS = {
    "letter": ours("DOC-LETTER", "Letter to the referring colleague"),
    "leaflet": ours("DOC-LEAFLET", "Leaflet for the patient"),
    "casebook": ours("DOC-CASEBOOK", "All entries of a case with their chain"),
    "card": ours("DOC-CARD", "Card of a plan for the chair"),
    "document": ours("DOC-OTHER", "Document"),
}
_FACTS = {
    "plan.working_length": "P-LENGTH",
    "plan.cone.seat": "P-CONE-SEAT",
    "plan.cone.short": "P-CONE-SHORT",
    "plan.cone.chance": "P-CONE-CHANCE",
    "plan.heat.margin": "P-HEAT-MARGIN",
    "plan.heat.surface_rise": "P-HEAT-RISE",
    "plan.heat.above_47": "P-HEAT-47",
    "plan.heat.cem43": "P-HEAT-CEM43",
    "plan.heat.apical": "P-HEAT-APICAL",
    "plan.fill.void": "P-FILL-VOID",
    "plan.fill.puff": "P-FILL-PUFF",
    "plan.chance_beyond_terminus": "P-FILL-BEYOND",
    "plan.fill.root_ratio": "P-ROOT-STRESS",
    "plan.sealer_volume": "P-SEALER",
    "plan.backfill_top": "P-BACKFILL-TOP",
    "assessment.to_terminus": "A-TO-TERMINUS",
    "assessment.length_filled": "A-LENGTH",
    "assessment.taper": "A-TAPER",
    "assessment.void_share": "A-VOIDS",
    "assessment.smallest_void": "A-LEAST-VOID",
    "assessment.grade.chance": "A-GRADE-CHANCE",
    "assessment.beyond.reach": "A-BEYOND-REACH",
    "assessment.beyond.volume": "A-BEYOND-VOL",
    "check.short_mm": "C-SHORT",
    "check.void_percent": "C-VOIDS",
    "chair.seconds": "D-SECONDS",
    "chair.holds_kept": "D-HOLDS-KEPT",
}
_UNITS = {
    "mm": "mm", "mm2": "mm2", "mm²": "mm2", "mm3": "mm3", "mm³": "mm3", "K": "K", "°C": "Cel", "deg C": "Cel", "s": "s",
    "min": "min", "%": "%", "N": "N", "MPa": "MPa", "mm/mm": "mm/mm", "": "1",
}  # fmt: skip


def of_fact(key: str, words: str) -> Code:
    """The code of a number. Raises KeyError for a number that has none."""
    return ours(_FACTS[key], words)


def key_of(code: str) -> str:
    """The number that a code of ours stands for; empty when it stands for none."""
    return next((key for key, value in _FACTS.items() if value == code), "")


def unit_of(unit: str) -> Code:
    """A unit in UCUM. Raises KeyError for one that is not known."""
    return Code(_UNITS[unit], "UCUM", unit or "no units")


def of_tooth(tooth: Tooth) -> Code:
    """A permanent tooth in SNOMED CT, by DICOM CID 4018."""
    jaw = "PermanentMaxillary" if tooth.upper else "Mandibular"
    name = tooth.kind.partition(" ")[2].title().replace(" ", "")
    known: Any = codes.SCT
    try:
        found = getattr(known, f"{jaw}{tooth.side.title()}{name}Tooth")
    except AttributeError:  # one keyword of the list, 32, lacks its `Incisor`
        found = getattr(known, f"{jaw}{tooth.side.title()}{name.removesuffix('Incisor')}Tooth")
    return Code(str(found.value), "SCT", str(found.meaning))
