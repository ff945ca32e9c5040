"""Taking cases out of the records and into them, and giving a person all that is kept of them."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy import insert, select

from canalwright.casefile.zipped import write_zip
from canalwright.records import schema
from canalwright.records.archive import Archive, Packed, read_archive, write_archive
from canalwright.records.cases import Cases
from canalwright.records.chains import head_of
from canalwright.records.crypt import seal
from canalwright.records.effective import effective
from canalwright.records.errors import ArchiveDamaged, BadEntry, Erased
from canalwright.records.events import Entry, Event, Kind
from canalwright.records.files import whole
from canalwright.records.identity import born_of
from canalwright.records.images import Image, Images, media_of
from canalwright.records.ledger import CHAIN, Ledger
from canalwright.records.moments import moment, stamp
from canalwright.records.patients import Patients
from canalwright.records.payloads import check_payload
from canalwright.records.sense import impossible
from canalwright.records.vault import Vault


@dataclass(frozen=True)
class Transfer:
    """Archives of the records."""

    vault: Vault
    ledger: Ledger
    cases: Cases
    patients: Patients
    images: Images

    def write_case(self, case: str, path: Path, author: str) -> None:
        """Write a case as an archive, without identity; that it was done is recorded. Raises NotFound, Erased."""
        events = self.cases.events(case)
        if events[0].payload is None:
            raise Erased(f"the data of case {case} was erased")
        with whole(path) as file:
            write_archive(file, self.vault.key_file.store, case, events, self._images_of(events))
        self.note({"what": "case archive"}, author, events[0].patient, case)

    def write_person(self, pseudonym: str, path: Path, author: str) -> None:
        """Write all that is kept of a person, identity included, as a readable zip. Raises NotFound, Erased.

        person.json holds identity and every event in order; images/ the images. It is not encrypted.
        """
        identity = self.patients.identity(pseudonym)
        events = self.patients.events(pseudonym)
        listed = [{**asdict(e), "time": stamp(e.time), "kind": e.kind.value} for e in events]
        person = {"pseudonym": pseudonym, "identity": asdict(identity), "events": listed}
        contents = {"person.json": json.dumps(person, indent=1, ensure_ascii=False).encode()}
        contents |= {f"images/{image.id}": image.content for image in self._images_of(events)}
        with whole(path) as file:
            write_zip(file, {"format": "canalwright person", "version": 1}, contents)
        self.note({"what": "all data of the person"}, author, pseudonym, "")

    def read_case(self, path: Path, author: str, patient: str | None = None) -> str:
        """Take in a case from an archive, for a known or else a new patient; gives the name it has here.

        Every event keeps who recorded it first, when and where. All of it is taken in or nothing.
        Raises ArchiveDamaged, BadEntry when the case is here already, NotFound, Erased.
        """
        archive = read_archive(path)
        _fit(archive)
        known = f"{archive.store}:{archive.case}"
        with self.vault.reading() as connection:
            views, events = schema.case_view.c, schema.event.c
            here = connection.scalar(select(views.case_id).where(views.origin == known).limit(1))
            own = archive.store == self.vault.key_file.store
            if own and connection.scalar(select(events.seq).where(events.case_id == archive.case).limit(1)):
                here = archive.case
        if here:
            raise BadEntry(f"this case is here already, as {here}")
        case = archive.case
        with self.vault.writing() as connection:
            owner = patient or self.patients.put_new(connection)
            if connection.scalar(select(events.seq).where(events.case_id == case).limit(1)):
                raise BadEntry(f"another case is called {case} here already")
            key = self.ledger.patient_key(connection, owner)
            _sensible(archive, self.vault.clock().date(), born_of(self.vault, self.ledger, connection, owner))
            for name, content in archive.images.items():
                sealed = seal(key, content, f"{self.vault.key_file.store} image {name}")
                row = {"id": name, "patient": owner, "case_id": case, "media": media_of(content), "sealed": sealed}
                connection.execute(insert(schema.image).values(row))
            start = head_of(connection, self.vault, CHAIN).seq + 1
            self.ledger.append(connection, _entries(archive, start, author, owner, case))
            self.cases.refresh(connection, case)
        return case

    def _images_of(self, events: list[Event]) -> list[Image]:
        return [self.images.get(str(e.field("image"))) for e in events if e.kind is Kind.IMAGE and e.payload]

    def note(self, what: Mapping[str, object], author: str, patient: str, case: str) -> None:
        """Record that something was handed over: `what` says what, and with which words. Raises NotFound, Erased."""
        with self.vault.writing() as connection:
            self.ledger.append(connection, [Entry(Kind.EXPORT, what, author, patient, case)])
            if case:
                self.cases.refresh(connection, case)


def _fit(archive: Archive) -> None:
    try:
        for packed in archive.events:
            if packed.kind.of_user or packed.kind is Kind.CASE:
                check_payload(packed.kind, packed.payload)
    except BadEntry as error:
        raise ArchiveDamaged(f"this archive holds an entry that cannot be taken in: {error}") from None


def _sensible(archive: Archive, today: date, born: date | None) -> None:
    events = [
        Event(p.origin.seq, moment(p.origin.time), p.origin.author, p.kind, "", archive.case, 0.0, p.payload, "")
        for p in archive.events
    ]
    found = impossible(effective(events), today, born)
    if found:
        raise BadEntry(f"this archive holds what cannot be: {found[0]}, where the case comes from")


def _entries(archive: Archive, start: int, author: str, patient: str, case: str) -> list[Entry]:
    """The events as new entries, numbered from `start`; corrections point to the new numbers."""
    numbers = {packed.origin.seq: start + i for i, packed in enumerate(archive.events)}
    return [
        Entry(packed.kind, _renumbered(packed, numbers), author, patient, case, packed.origin)
        for packed in archive.events
    ]


def _renumbered(packed: Packed, numbers: dict[int, int]) -> dict[str, Any]:
    if packed.kind is not Kind.CORRECTION:
        return packed.payload
    target = packed.payload.get("of")
    if not isinstance(target, int) or target not in numbers or numbers[target] >= numbers[packed.origin.seq]:
        raise ArchiveDamaged("a correction in this archive corrects nothing that is in it")
    return {**packed.payload, "of": numbers[target]}
