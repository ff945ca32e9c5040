"""Images kept with a case: sealed under the key of the person, inside the database, with no path from a file name."""

import hashlib
from dataclasses import dataclass

from sqlalchemy import insert, select

from canalwright.records import schema
from canalwright.records.cases import Cases
from canalwright.records.crypt import seal, unseal
from canalwright.records.errors import BadEntry, NotFound
from canalwright.records.events import Entry, Kind
from canalwright.records.ledger import Ledger
from canalwright.records.pseudonym import new_name
from canalwright.records.vault import Vault

LARGEST = 32 * 1024 * 1024
BEGINNINGS = (
    ("image/png", 0, b"\x89PNG\r\n\x1a\n"),
    ("image/jpeg", 0, b"\xff\xd8\xff"),
    ("image/tiff", 0, b"II*\x00"),
    ("image/tiff", 0, b"MM\x00*"),
    ("application/dicom", 128, b"DICM"),
    ("application/x-nrrd", 0, b"NRRD000"),
)
LABELS = "application/x-nrrd"
"""Labels of a scan voxel by voxel: kept with a check, never taken for a film."""


@dataclass(frozen=True)
class Image:
    """An image as it was attached."""

    id: str
    case: str
    media: str
    content: bytes


@dataclass(frozen=True)
class Images:
    """The images of the records."""

    vault: Vault
    ledger: Ledger
    cases: Cases

    def attach(self, case: str, content: bytes, label: str, author: str) -> str:
        """Keep an image (PNG, JPEG, TIFF, DICOM; labels as NRRD; up to 32 MiB); gives its id. Raises BadEntry, NotFound, Erased."""
        media = media_of(content)
        name = new_name("I")
        facts = {"image": name, "media": media, "bytes": len(content), "label": label[:200], "sha256": digest(content)}
        with self.vault.writing() as connection:
            patient = self.cases.owner(connection, case)
            key = self.ledger.patient_key(connection, patient)
            sealed = seal(key, content, self._context(name))
            row = {"id": name, "patient": patient, "case_id": case, "media": media, "sealed": sealed}
            connection.execute(insert(schema.image).values(row))
            self.ledger.append(connection, [Entry(Kind.IMAGE, facts, author, patient, case)])
            self.cases.refresh(connection, case)
        return name

    def get(self, name: str) -> Image:
        """An image by its id. Raises NotFound, Erased, StoreDamaged."""
        with self.vault.reading() as connection:
            row = connection.execute(select(schema.image).where(schema.image.c.id == name)).one_or_none()
            if row is None:
                raise NotFound(f"there is no image {name}")
            key = self.ledger.patient_key(connection, row.patient)
        return Image(name, row.case_id, row.media, unseal(key, bytes(row.sealed), self._context(name)))

    def _context(self, name: str) -> str:
        return f"{self.vault.key_file.store} image {name}"


def digest(content: bytes) -> str:
    """SHA-256, hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def media_of(content: bytes) -> str:
    """Kind of image by its first bytes, never by a name. Raises BadEntry."""
    if len(content) > LARGEST:
        raise BadEntry(f"an image of {len(content) >> 20} MiB is over the limit of {LARGEST >> 20} MiB")
    for media, at, beginning in BEGINNINGS:
        if content[at : at + len(beginning)] == beginning:
            return media
    raise BadEntry("this is neither PNG, JPEG, TIFF nor DICOM: save the image as one of them")
