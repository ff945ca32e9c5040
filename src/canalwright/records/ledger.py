"""Recording events and reading them back, inside a transaction that the caller opened."""

import zlib
from base64 import b64encode
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import ColumnElement, Connection, RowMapping, insert, select

from canalwright.records import chain, schema
from canalwright.records.canonical import LARGEST, Json, canonical, checked, parsed
from canalwright.records.chain import Head, Row
from canalwright.records.chains import append_rows, head_of
from canalwright.records.crypt import seal, unseal
from canalwright.records.errors import BadEntry, Erased, NotFound, StoreDamaged
from canalwright.records.events import Entry, Event, Kind, Origin
from canalwright.records.moments import moment
from canalwright.records.vault import Vault

CHAIN = "event"
BATCH = 1000


@dataclass(frozen=True)
class Ledger:
    """The events of one set of records."""

    vault: Vault
    _opened: dict[str, bytes] = field(default_factory=dict, repr=False, compare=False)

    def append(self, connection: Connection, entries: Sequence[Entry]) -> list[int]:
        """Record `entries` in order; gives their numbers.

        Raises BadEntry, NotFound (no such patient), Erased; then the caller's transaction must not be committed.
        """
        keys = {name: self._key(connection, name) for name in {_owner(e) for e in entries}}
        headers = [self._header(e, keys[_owner(e)]) for e in entries]
        rows = append_rows(connection, self.vault, CHAIN, headers)
        for row, header in zip(rows, headers, strict=True):
            row.update(sealed=header["sealed"], case_id=row.pop("case"))
        connection.execute(insert(schema.event), rows)
        return [row["seq"] for row in rows]

    def read(
        self,
        connection: Connection,
        *where: ColumnElement[bool],
        payload_of: Container[Kind] | None = None,
        many: bool = False,
    ) -> Iterator[Event]:
        """Events in order of their number; payloads of kinds outside `payload_of` stay sealed (None).

        With `many` the rows come in batches and never lie in memory all at once.
        """
        query = select(schema.event).where(*where).order_by(schema.event.c.seq)
        if many:
            query = query.execution_options(yield_per=BATCH)
        keys: dict[str, bytes | None] = {}
        with connection.execute(query) as rows:
            for row in rows.mappings():
                kind = Kind(row["kind"])
                owner = "" if kind.of_store else row["patient"]
                wanted = payload_of is None or kind in payload_of
                if wanted and owner not in keys:
                    keys[owner] = self._key_if_any(connection, owner)
                yield self._event(row, kind, keys[owner] if wanted else None)

    def verify(self, connection: Connection, known: Iterable[Head] = ()) -> Head:
        """Check the whole chain. Raises StoreDamaged at the first row that is not as it was written."""
        query = select(schema.event).order_by(schema.event.c.seq).execution_options(yield_per=BATCH)
        start, end = chain.genesis(self.vault.key_file.store, CHAIN), head_of(connection, self.vault, CHAIN)
        with connection.execute(query) as found:
            rows = (_row(r) for r in found.mappings())
            return chain.verify(rows, start, self.vault.keys.purpose("chain"), end, known)

    def forget(self, pseudonym: str) -> None:
        """Drop an opened key from memory."""
        self._opened.pop(pseudonym, None)

    def patient_key(self, connection: Connection, pseudonym: str) -> bytes:
        """The person's own key. Raises NotFound, Erased."""
        query = select(schema.patient.c.wrapped, schema.patient.c.erased).where(schema.patient.c.pseudonym == pseudonym)
        row = connection.execute(query).one_or_none()
        if row is None:
            raise NotFound(f"there is no patient {pseudonym}: check the pseudonym")
        if row.wrapped is None:
            raise Erased(f"the data of {pseudonym} was erased on {row.erased[:10]}")
        return self.unwrapped(pseudonym, bytes(row.wrapped))

    def unwrapped(self, pseudonym: str, wrapped: bytes) -> bytes:
        """The person's own key from how it is kept."""
        if pseudonym not in self._opened:
            context = f"{self.vault.key_file.store} patient {pseudonym}"
            self._opened[pseudonym] = unseal(self.vault.keys.purpose("patients"), wrapped, context)
        return self._opened[pseudonym]

    def _key(self, connection: Connection, owner: str) -> bytes:
        return self.patient_key(connection, owner) if owner else self.vault.keys.purpose("events")

    def _header(self, entry: Entry, key: bytes) -> dict[str, Any]:
        if not entry.author.isprintable() or not 0 < len(entry.author) <= 200:
            raise BadEntry("an event needs an author: the name of the user who records it")
        if bool(entry.patient) == entry.kind.of_store and entry.kind is not Kind.ERASE:
            raise BadEntry(
                f"an event of kind {entry.kind.value} {'belongs to no' if entry.patient else 'needs a'} patient"
            )
        body: dict[str, Json] = {"payload": checked(entry.payload)}
        if entry.origin:
            body["origin"] = entry.origin.as_json()
        context = _context(self.vault.key_file.store, entry.kind.value, entry.patient, entry.case)
        return {
            "author": entry.author,
            "kind": entry.kind.value,
            "patient": entry.patient,
            "case": entry.case,
            "sealed": seal(key, zlib.compress(canonical(body), 1), context),
        }

    def _key_if_any(self, connection: Connection, owner: str) -> bytes | None:
        try:
            return self._key(connection, owner)
        except Erased:
            return None

    def _event(self, row: RowMapping, kind: Kind, key: bytes | None) -> Event:
        body: Mapping[str, Json] = self._open(row, key) if key else {}
        payload, origin = body.get("payload"), body.get("origin")
        return Event(
            seq=row["seq"],
            time=moment(row["time"]),
            author=row["author"],
            kind=kind,
            patient=row["patient"],
            case=row["case_id"],
            behind=row["behind"] / 1000,
            payload=payload if isinstance(payload, dict) else None,
            hash=bytes(row["hash"]).hex(),
            origin=Origin.from_json(origin) if isinstance(origin, dict) else None,
        )

    def _open(self, row: RowMapping, key: bytes) -> Mapping[str, Json]:
        context = _context(self.vault.key_file.store, row["kind"], row["patient"], row["case_id"])
        try:
            opener = zlib.decompressobj()
            return parsed(opener.decompress(unseal(key, bytes(row["sealed"]), context), 2 * LARGEST))
        except (zlib.error, ValueError):
            raise StoreDamaged(f"event {row['seq']} cannot be read though its seal is whole; report this") from None


def _owner(entry: Entry) -> str:
    """Whose key seals an event: the patient's, or none for what must stay readable."""
    return "" if entry.kind.of_store else entry.patient


def _context(store: str, kind: str, patient: str, case: str) -> str:
    return f"{store} {kind} {patient} {case}"


def _row(row: RowMapping) -> Row:
    header = {name: row[name] for name in ("seq", "time", "author", "kind", "patient", "behind")}
    header |= {"case": row["case_id"], "sealed": b64encode(bytes(row["sealed"])).decode()}
    return Row(row["seq"], header, bytes(row["hash"]), bytes(row["mark"]))
