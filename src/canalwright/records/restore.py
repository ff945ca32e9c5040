"""Restore records from a backup, in one step; what was there before is moved aside, not deleted."""

import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from itertools import chain, islice
from pathlib import Path

from sqlalchemy import Connection, MetaData, func, insert, select

from canalwright.records.backup_file import Header, Row, read_header, read_rows
from canalwright.records.chain import Head
from canalwright.records.engine import postgres_engine, sqlite_engine
from canalwright.records.erasures import erased_in, write_erased
from canalwright.records.errors import ArchiveDamaged, StoreDamaged, StoreExists, StoreTooNew
from canalwright.records.events import Entry, Kind
from canalwright.records.files import private_folder, sync_folder
from canalwright.records.keys import Keys
from canalwright.records.ledger import Ledger
from canalwright.records.migrate import known_revisions, revision_of, upgrade
from canalwright.records.moments import Clock, stamp, wall_clock
from canalwright.records.schema import metadata as newest
from canalwright.records.secret import Secret
from canalwright.records.vault import BACKUPS, DATA_FILE, KEY_FILE, Vault

BATCH = 500


def restore(
    backup: Path, home: Path, secret: Secret, *, url: str | None = None, clock: Clock = wall_clock
) -> Path | None:
    """Put the records of `backup` into `home` (and the empty PostgreSQL database at `url`).

    Everything is read, checked and written beside `home` first; a damaged backup or a wrong passphrase changes nothing.
    Gives the folder into which earlier records were moved, None when there were none. `secret` is the passphrase of the
    time at which the backup was made. Raises ArchiveDamaged, WrongPassphrase, StoreExists, StoreTooNew, DiskFull.
    """
    header = read_header(backup)
    keys = header.key_file.unlock(secret)
    waiting = Path(tempfile.mkdtemp(prefix=f".{home.name}.", dir=private_folder(home.parent)))
    try:
        vault = load(backup, header, keys, waiting, url, clock)
        try:
            with vault.writing() as connection:
                body = {"backup": backup.name, "made": header.made, "head": header.head.seq}
                Ledger(vault).append(connection, [Entry(Kind.RESTORE, body, "program")])
        finally:
            vault.close()
        replace(header.key_file, backend="postgresql" if url else "sqlite").write(waiting / KEY_FILE)
        if erased := erased_in(home):
            write_erased(waiting, erased)
        return _swap(waiting, home, header, clock)
    finally:
        shutil.rmtree(waiting, ignore_errors=True)


def load(
    backup: Path, header: Header, keys: Keys, folder: Path, url: str | None = None, clock: Clock = wall_clock
) -> Vault:
    """Fill an empty database with a backup and check its chain to the head; the open vault of it.

    Raises ArchiveDamaged when anything is not as it was written; nothing is kept then.
    """
    engine = postgres_engine(url) if url else sqlite_engine(folder / DATA_FILE, keys.purpose("database"))
    vault = Vault(folder, header.key_file, keys, engine, clock)
    try:
        with vault.writing() as connection:
            if revision_of(connection) is not None:
                raise StoreExists("the database to restore into holds records already: name an empty one")
            rows = read_rows(backup, keys.purpose("backup"))
            first = next(rows)  # nothing in the header counts before a piece has opened with it
            if header.revision not in known_revisions():
                raise StoreTooNew(
                    f"{backup.name} has version {header.revision}: restore it with the program that made it"
                )
            upgrade(connection, header.revision)
            count = _fill(connection, chain([first], rows))
            if count != header.rows:
                raise ArchiveDamaged(f"{backup.name} holds {count} rows instead of {header.rows}: use another backup")
            Ledger(vault).verify(connection, [header.head])
    except StoreDamaged as error:
        vault.close()
        raise ArchiveDamaged(f"the events in {backup.name} are not as they were written ({error})") from None
    except BaseException:
        vault.close()
        raise
    return vault


def rows_of(connection: Connection) -> Iterator[Row]:
    """Every row of every table, in an order in which they can be put back."""
    for table in _tables(connection).sorted_tables:
        if table.name != "alembic_version":
            with connection.execute(select(table).execution_options(yield_per=BATCH)) as found:
                yield from ((table.name, dict(row)) for row in found.mappings())


def count_of(connection: Connection) -> int:
    """How many rows `rows_of` yields."""
    tables = [t for t in _tables(connection).sorted_tables if t.name != "alembic_version"]
    return sum(connection.scalar(select(func.count()).select_from(t)) or 0 for t in tables)


def _fill(connection: Connection, rows: Iterator[Row]) -> int:
    tables = _tables(connection).tables
    count = 0
    waiting: list[dict[str, object]] = []
    current = ""
    while batch := list(islice(rows, BATCH)):
        for name, row in batch:
            if name not in tables or name == "alembic_version":
                raise ArchiveDamaged(f"this backup holds a table {name!r} that its version does not have")
            if name != current and waiting:
                connection.execute(insert(tables[current]), waiting)
                waiting = []
            current = name
            waiting.append(row)
        count += len(batch)
        connection.execute(insert(tables[current]), waiting)
        waiting = []
    return count


def _tables(connection: Connection) -> MetaData:
    """The tables as they are here, whichever version that is."""
    found = MetaData()
    found.reflect(connection, only=lambda name, _: name in newest.tables)
    return found


def _swap(waiting: Path, home: Path, header: Header, clock: Clock) -> Path | None:
    """Put the restored folder in place; backups made up to the restored one come along, later ones stay aside."""
    aside = None
    if home.exists():
        aside = home.with_name(f"{home.name}.before-restore-{stamp(clock()).replace(':', '')}")
        home.rename(aside)
    waiting.rename(home)
    sync_folder(home.parent)
    if aside and (aside / BACKUPS).is_dir():
        private_folder(home / BACKUPS)
        for file in sorted((aside / BACKUPS).iterdir()):
            if _made_by(file, header.head):
                shutil.copy2(file, home / BACKUPS / file.name)
    return aside


def _made_by(file: Path, head: Head) -> bool:
    try:
        return read_header(file).head.seq <= head.seq
    except (ArchiveDamaged, OSError):
        return False
