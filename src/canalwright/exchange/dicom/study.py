"""What all DICOM objects of a case share: patient, study, identifiers, equipment, the private coding scheme.

Identifiers are made from the records' own name, the case and the content (UUID-derived, ISO/IEC 9834-8 under 2.25): the same content
has the same identifier wherever it is written. Without identity the patient is the pseudonym, in name and number.
"""

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import highdicom
from highdicom.coding_schemes import CodingSchemeIdentificationItem
from pydicom.uid import UID, ExplicitVRLittleEndian

from canalwright import __version__
from canalwright.exchange import codes
from canalwright.exchange.dossier import Dossier

MANUFACTURER = "canalwright (open source, no maker)"
_ROOT = uuid.UUID("8d9a2a36-6f0e-5a0b-9d2c-3a1d6b7a5c4e")


def uid(*parts: str) -> UID:
    """An identifier from what it names."""
    return UID(f"2.25.{uuid.uuid5(_ROOT, chr(31).join(parts)).int}")


@dataclass(frozen=True)
class Study:
    """One case as a DICOM study, written at `now` (UTC)."""

    dossier: Dossier
    now: datetime

    @property
    def uid(self) -> UID:
        """Study Instance UID."""
        return uid("study", self.dossier.store, self.dossier.view.case_id)

    def patient(self) -> dict[str, Any]:
        """Patient and study attributes, as highdicom takes them.

        The records keep a name as one text; it stands in the family-name component whole.
        """
        view, who = self.dossier.view, self.dossier.identity
        name = (who.name if who else "") or view.patient
        born = who.born.replace("-", "") if who and who.born else None
        day = (view.filled or view.opened[:10]).replace("-", "")
        return {
            "patient_id": _short((who.number if who else "") or view.patient, 64),
            "patient_name": f"{_short(name.replace('^', ' ').replace('=', ' '), 63)}^",
            "patient_birth_date": born,
            "patient_sex": None,
            "accession_number": None,
            "study_id": _short(view.case_id, 16),
            "study_date": day,
            "study_time": None,
            "referring_physician_name": None,
        }

    def series(self, kind: str, number: int, description: str, content: str) -> dict[str, Any]:
        """Series, instance and equipment attributes; `content` names what is inside, for the identifiers."""
        case, store = self.dossier.view.case_id, self.dossier.store
        return {
            "series_instance_uid": uid("series", store, case, kind),
            "series_number": number,
            "sop_instance_uid": uid("instance", store, case, kind, content),
            "instance_number": 1,
            "manufacturer": MANUFACTURER,
            "manufacturer_model_name": "canalwright",
            "software_versions": __version__,
            "device_serial_number": "none",
            "series_description": _short(description, 64),
            "content_date": self.now.date(),
            "content_time": self.now.time().replace(microsecond=0),
            "specific_character_set": "ISO_IR 192",
        }


def scheme() -> CodingSchemeIdentificationItem:
    """The private coding scheme, named as ours."""
    return CodingSchemeIdentificationItem(
        designator=codes.SCHEME, name=codes.SCHEME_NAME, version="1", responsible_organization="canalwright"
    )


def concept(code: codes.Code) -> highdicom.sr.CodedConcept:
    """A code as DICOM writes it."""
    return highdicom.sr.CodedConcept(code.value, code.scheme, code.meaning)


def base(study: Study, kind: str, number: int, description: str, content: str, sop_class: str, modality: str) -> Any:
    """A dataset with the modules that every object has."""
    return highdicom.SOPClass(
        study_instance_uid=study.uid,
        sop_class_uid=sop_class,
        modality=modality,
        transfer_syntax_uid=ExplicitVRLittleEndian,
        coding_schemes=[scheme()],
        **study.patient(),
        **study.series(kind, number, description, content),
    )


def _short(text: str, most: int) -> str:
    return text[:most].strip()
