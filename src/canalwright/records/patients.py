"""Patients: a pseudonym by default, identity apart under its own key, erasing for good."""

from dataclasses import asdict, dataclass, fields

from sqlalchemy import Connection, delete, insert, select, update

from canalwright.records import schema
from canalwright.records.cases import Cases
from canalwright.records.crypt import new_key, seal
from canalwright.records.erasures import erased_in, write_erased
from canalwright.records.errors import BadEntry, NotFound
from canalwright.records.events import Entry, Event, Kind
from canalwright.records.identity import open_identity, seal_identity
from canalwright.records.ledger import Ledger
from canalwright.records.moments import day, stamp
from canalwright.records.pseudonym import new_name
from canalwright.records.sense import refuse_birth
from canalwright.records.vault import Vault


@dataclass(frozen=True)
class Identity:
    """Who a patient is. All of it may be left empty; `born` is an ISO date."""

    name: str = ""
    born: str = ""
    number: str = ""
    contact: str = ""

    def __post_init__(self) -> None:
        if self.born:
            day(self.born, "date of birth")
        if any(len(text) > 1000 for text in asdict(self).values()):
            raise BadEntry("a field of the identity has at most 1000 characters")


FIELDS = tuple(f.name for f in fields(Identity))


@dataclass(frozen=True)
class Patients:
    """The patients of the records."""

    vault: Vault
    ledger: Ledger
    cases: Cases

    def add(self, author: str, identity: Identity | None = None) -> str:
        """Add a patient; gives the pseudonym by which all else is recorded. Raises IdentityLocked."""
        with self.vault.writing() as connection:
            name = self.put_new(connection)
            if identity:
                self._put(connection, name, identity, author)
        return name

    def put_new(self, connection: Connection) -> str:
        """Add a patient without identity within the caller's transaction; gives the pseudonym."""
        name, key = new_name("P"), new_key()
        wrapped = seal(self.vault.keys.purpose("patients"), key, f"{self.vault.key_file.store} patient {name}")
        row = {"pseudonym": name, "created": stamp(self.vault.clock()), "wrapped": wrapped}
        connection.execute(insert(schema.patient).values(row))
        return name

    def identify(self, pseudonym: str, identity: Identity, author: str) -> None:
        """Set or change who a patient is. Raises NotFound, Erased, IdentityLocked."""
        with self.vault.writing() as connection:
            self._put(connection, pseudonym, identity, author)

    def identity(self, pseudonym: str) -> Identity:
        """Who a patient is; empty when nobody wrote it down. Raises NotFound, Erased, IdentityLocked."""
        with self.vault.reading() as connection:
            key = self.ledger.patient_key(connection, pseudonym)
            sealed = connection.scalar(select(schema.identity.c.sealed).where(schema.identity.c.patient == pseudonym))
        return self._opened(pseudonym, key, sealed)

    def find(self, words: str) -> list[str]:
        """Pseudonyms of patients whose identity contains all the `words`. Opens every identity."""
        wanted = words.casefold().split()
        both = select(schema.identity, schema.patient.c.wrapped).join(schema.patient)
        with self.vault.reading() as connection:
            rows = connection.execute(both.where(schema.patient.c.wrapped.is_not(None))).all()
        texts: dict[str, str] = {}
        for row in rows:
            key = self.ledger.unwrapped(row.patient, bytes(row.wrapped))
            who = self._opened(row.patient, key, row.sealed)
            texts[row.patient] = f"{who.name} {who.born} {who.number} {who.contact}".casefold()
        return sorted(name for name, text in texts.items() if wanted and all(word in text for word in wanted))

    def events(self, pseudonym: str) -> list[Event]:
        """Everything recorded of a patient. Raises NotFound."""
        with self.vault.reading() as connection:
            self._known(connection, pseudonym)
            return list(self.ledger.read(connection, schema.event.c.patient == pseudonym))

    def hold(self, pseudonym: str, holding: bool, reason: str, author: str) -> None:
        """Keep a person's data beyond the retention rule (a dispute, say), or let go of it again."""
        with self.vault.writing() as connection:
            self.ledger.append(connection, [Entry(Kind.HOLD, {"hold": holding, "reason": reason}, author, pseudonym)])

    def erase(self, pseudonym: str, reason: str, author: str) -> int:
        """Erase a person's data for good; gives the number of the tombstone.

        The person's key is destroyed: what was sealed with it, in every event, stays as noise, so that the chain can
        still be checked. Identity, images and views are deleted. Copies in backups live until these are rotated out.
        Raises NotFound, Erased, BadEntry without a reason.
        """
        if not reason.strip():
            raise BadEntry("erasing needs its reason: say who asked for it, without a name")
        now = stamp(self.vault.clock())
        with self.vault.writing() as connection:
            self.ledger.patient_key(connection, pseudonym)
            cases = connection.scalars(
                select(schema.case_view.c.case_id).where(schema.case_view.c.patient == pseudonym)
            ).all()
            body = {"reason": reason, "cases": list(cases)}
            seq = self.ledger.append(connection, [Entry(Kind.ERASE, body, author, pseudonym)])[0]
            connection.execute(delete(schema.identity).where(schema.identity.c.patient == pseudonym))
            connection.execute(delete(schema.image).where(schema.image.c.patient == pseudonym))
            connection.execute(delete(schema.case_view).where(schema.case_view.c.patient == pseudonym))
            gone = {"wrapped": None, "erased": now}
            connection.execute(update(schema.patient).where(schema.patient.c.pseudonym == pseudonym).values(gone))
        self.ledger.forget(pseudonym)
        write_erased(self.vault.home, erased_in(self.vault.home) | {pseudonym})
        self._sweep()
        return seq

    def erased_cases(self) -> set[str]:
        """Names of the cases of everybody who was erased, but for those that came back in an archive."""
        with self.vault.reading() as connection:
            gone = self.ledger.read(connection, schema.event.c.kind == Kind.ERASE.value)
            told = [event.field("cases") for event in gone]
            names = {str(case) for cases in told if isinstance(cases, list) for case in cases}
            return names - set(connection.scalars(select(schema.case_view.c.case_id)).all())

    def erase_again(self) -> None:
        """Erase whom the list beside the data names but a restored backup brought back; complete the list."""
        with self.vault.reading() as connection:
            rows = connection.execute(select(schema.patient.c.pseudonym, schema.patient.c.erased)).all()
        listed, gone = erased_in(self.vault.home), {row.pseudonym for row in rows if row.erased}
        for name in sorted(listed & {row.pseudonym for row in rows if not row.erased}):
            self.erase(name, "was erased before the backup was restored", "program")
        if gone - listed:
            write_erased(self.vault.home, gone | listed)

    def _put(self, connection: Connection, pseudonym: str, identity: Identity, author: str) -> None:
        sealed = seal_identity(self.vault, pseudonym, self.ledger.patient_key(connection, pseudonym), asdict(identity))
        if identity.born:
            cases = self.cases.of_patient(connection, pseudonym)
            refuse_birth(day(identity.born), self.vault.clock().date(), cases)
        changed = sorted(name for name, text in asdict(identity).items() if text)
        self.ledger.append(connection, [Entry(Kind.IDENTITY, {"fields": changed}, author, pseudonym)])
        connection.execute(delete(schema.identity).where(schema.identity.c.patient == pseudonym))
        connection.execute(insert(schema.identity).values(patient=pseudonym, sealed=sealed))

    def _opened(self, pseudonym: str, key: bytes, sealed: bytes | None) -> Identity:
        found = open_identity(self.vault, pseudonym, key, sealed)
        return Identity(*(str(found.get(name, "")) for name in FIELDS))

    def _known(self, connection: Connection, pseudonym: str) -> None:
        if connection.scalar(select(schema.patient.c.created).where(schema.patient.c.pseudonym == pseudonym)) is None:
            raise NotFound(f"there is no patient {pseudonym}: check the pseudonym")

    def _sweep(self) -> None:
        """Leave no old page behind that holds the key: fold the log into the file, or have the server clean up."""
        if self.vault.engine.dialect.name == "sqlite":
            raw = self.vault.engine.raw_connection()
            try:
                raw.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
            finally:
                raw.close()
            return
        with self.vault.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.exec_driver_sql("VACUUM patient, identity, image, case_view")
