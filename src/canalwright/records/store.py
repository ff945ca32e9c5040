"""`Store`: the records, opened."""

from collections.abc import Iterable
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy import delete, insert, select

from canalwright.records.backup import Backups
from canalwright.records.cases import Cases
from canalwright.records.caseview import VERSION
from canalwright.records.chain import Head
from canalwright.records.chains import head_of
from canalwright.records.engine import check_pages
from canalwright.records.errors import BadEntry, StoreReadOnly
from canalwright.records.events import Entry, Kind
from canalwright.records.images import Images
from canalwright.records.keys import Cost, KeyFile, Root
from canalwright.records.ledger import CHAIN, Ledger
from canalwright.records.migrate import known_revisions, needs_upgrade, revision_of, upgrade
from canalwright.records.moments import Clock, wall_clock
from canalwright.records.patients import Patients
from canalwright.records.plans import Plans
from canalwright.records.schema import meta
from canalwright.records.secret import Passphrase, Secret, strong_enough
from canalwright.records.transfer import Transfer
from canalwright.records.vault import KEY_FILE, Vault, create_vault, open_vault


class Store:
    """Records of patients, cases and everything that happened to them.

        with Store.open(Path("records"), Passphrase("...")) as store:
            patient = store.patients.add(author="ann")
            case = store.cases.open(patient, {"tooth": 46}, author="ann")
            store.cases.record(case, Kind.NOTE, {"text": "calm after a week"}, author="ann")

    Who may do what is not asked here but by `Desk`; a shell that serves people goes through it.
    """

    def __init__(self, vault: Vault) -> None:
        self.vault = vault
        self.ledger = Ledger(vault)
        self.cases = Cases(vault, self.ledger)
        self.plans = Plans(self.cases)
        self.patients = Patients(vault, self.ledger, self.cases)
        self.images = Images(vault, self.ledger, self.cases)
        self.transfer = Transfer(vault, self.ledger, self.cases, self.patients, self.images)

    @classmethod
    def create(
        cls,
        home: Path,
        secret: Secret,
        *,
        url: str | None = None,
        identity: Secret | None = None,
        cost: Cost | None = None,
        clock: Clock = wall_clock,
    ) -> Self:
        """Make empty records in the folder `home`: an encrypted file, or the PostgreSQL database at `url`.

        `identity` gives names a passphrase of their own. Raises StoreExists; BadEntry for a weak passphrase.
        """
        for given in (secret, identity):
            if isinstance(given, Passphrase) and (weakness := strong_enough(given.text)):
                raise BadEntry(f"passphrase refused: {weakness}")
        store = cls(create_vault(home, secret, url=url, identity=identity, cost=cost, clock=clock))
        store._views_up_to_date()
        return store

    @classmethod
    def open(
        cls,
        home: Path,
        secret: Secret,
        *,
        url: str | None = None,
        identity: Secret | None = None,
        clock: Clock = wall_clock,
    ) -> Self:
        """Open records; older ones are backed up and brought up to date first.

        Raises StoreMissing, WrongPassphrase, StoreDamaged, StoreTooNew, StoreReadOnly (old records on a medium that
        cannot be written), StoreUnreachable.
        """
        store = cls(open_vault(home, secret, url=url, identity=identity, clock=clock))
        try:
            store._upgrade()
            store._views_up_to_date()
            if not store.vault.read_only:
                store.patients.erase_again()
        except BaseException:
            store.close()
            raise
        return store

    @cached_property
    def backups(self) -> Backups:
        """The backups of these records."""
        return Backups(self.vault)

    @property
    def head(self) -> Head:
        """Number and hash of the newest event: written down elsewhere, it shows later whether any was taken away."""
        with self.vault.reading() as connection:
            return head_of(connection, self.vault, CHAIN)

    def verify(self, known: Iterable[Head] = ()) -> Head:
        """Check every page of the file, every event, and the heads kept in backups and `known`. Raises StoreDamaged."""
        heads = [*known, *self.backups.heads()]
        with self.vault.reading() as connection:
            check_pages(connection)
            return self.ledger.verify(connection, heads)

    def change_passphrase(self, old: Secret, new: Secret, root: Root = "records", cost: Cost | None = None) -> None:
        """Change the passphrase of the records, or of the names alone. Raises WrongPassphrase, BadEntry.

        Where names have no passphrase of their own both change together. Old backups keep the old one.
        """
        if isinstance(new, Passphrase) and (weakness := strong_enough(new.text)):
            raise BadEntry(f"passphrase refused: {weakness}")
        file = KeyFile.read(self.vault.home / KEY_FILE)
        both = root == "records" and file.opens("identity", old)
        roots: tuple[Root, ...] = ("records", "identity") if both else (root,)
        for each in roots:
            file = file.rewrapped(each, old, new, cost)
        file.write(self.vault.home / KEY_FILE)

    def close(self) -> None:
        """Close the records."""
        self.vault.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _upgrade(self) -> None:
        with self.vault.reading() as connection:
            if not needs_upgrade(connection):
                return
            before = revision_of(connection)
        if self.vault.read_only:
            raise StoreReadOnly(f"records of version {before} must be brought up to date, but the disk is read-only")
        self.backups.make(f"before-upgrade-{before}")
        with self.vault.writing() as connection:
            if needs_upgrade(connection):
                upgrade(connection)
                body = {"from": before, "to": known_revisions()[-1]}
                self.ledger.append(connection, [Entry(Kind.UPGRADE, body, "program")])

    def _views_up_to_date(self) -> None:
        wanted = meta.c.name == "views"
        with self.vault.reading() as connection:
            found = connection.scalar(select(meta.c.value).where(wanted))
        if found == VERSION or self.vault.read_only:
            return
        with self.vault.writing() as connection:
            self.cases.rebuild(connection)
            connection.execute(delete(meta).where(wanted))
            connection.execute(insert(meta).values(name="views", value=VERSION))
