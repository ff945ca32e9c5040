"""The opened safe: engine, keys and clock of one set of records, and nothing about what they mean."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import Connection, Engine, insert, select

from canalwright.records.engine import postgres_engine, sqlite_engine, transaction
from canalwright.records.errors import StoreDamaged, StoreExists, StoreMissing, StoreReadOnly
from canalwright.records.files import private_folder
from canalwright.records.keys import Cost, KeyFile, Keys
from canalwright.records.migrate import revision_of, upgrade
from canalwright.records.moments import Clock, wall_clock
from canalwright.records.schema import meta
from canalwright.records.secret import Secret

WRITER_LOCK = 0x63616E616C  # any number that all writers agree on
KEY_FILE, DATA_FILE, BACKUPS = "keys.json", "records.db", "backups"


@dataclass(frozen=True)
class Vault:
    """An open set of records. `home` is the folder with the key file, the backups and, for SQLite, the data."""

    home: Path
    key_file: KeyFile
    keys: Keys = field(repr=False)
    engine: Engine = field(repr=False)
    clock: Clock = wall_clock
    read_only: bool = False
    scratch: Path | None = None

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A transaction that sees one state of the records and changes nothing."""
        with transaction(self.engine, writing=False) as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction that is kept as a whole or not at all; writers wait for each other."""
        if self.read_only:
            raise StoreReadOnly(f"{self.home} lies where nothing can be written: the records are open for reading only")
        with transaction(self.engine, writing=True) as connection:
            if self.engine.dialect.name == "postgresql":
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITER_LOCK})")
            yield connection

    def close(self) -> None:
        """Let go of the files."""
        self.engine.dispose()
        if self.scratch:
            shutil.rmtree(self.scratch, ignore_errors=True)


def create_vault(
    home: Path,
    secret: Secret,
    *,
    url: str | None = None,
    identity: Secret | None = None,
    cost: Cost | None = None,
    clock: Clock = wall_clock,
    revision: str = "head",
) -> Vault:
    """Make empty records in `home`, a folder that does not exist yet or is empty. Raises StoreExists."""
    if home.exists() and (not home.is_dir() or any(home.iterdir())):
        raise StoreExists(f"{home} is not empty: choose another folder, or open the records that are there")
    private_folder(home)
    key_file = KeyFile.create("postgresql" if url else "sqlite", secret, identity=identity, cost=cost)
    keys = key_file.unlock(secret, identity)
    engine = _engine(home, keys, url)
    vault = Vault(home, key_file, keys, engine, clock)
    try:
        with vault.writing() as connection:
            if revision_of(connection) is not None:
                raise StoreExists(
                    "this database holds records already: open them with their own folder, or use another"
                )
            key_file.write(home / KEY_FILE)
            upgrade(connection, revision)
            connection.execute(insert(meta), [{"name": "store", "value": key_file.store}])
    except BaseException:
        vault.close()
        raise
    return vault


def open_vault(
    home: Path,
    secret: Secret,
    *,
    url: str | None = None,
    identity: Secret | None = None,
    clock: Clock = wall_clock,
) -> Vault:
    """Open the records in `home`. Raises StoreMissing, WrongPassphrase, StoreDamaged."""
    if not (home / KEY_FILE).exists():
        aside = sorted(home.parent.glob(f"{home.name}.before-restore-*"))
        if aside and not home.exists():
            raise StoreMissing(
                f"a restore was cut off: the records lie in {aside[-1]}; give that folder its old name back"
            )
        raise StoreMissing(f"there are no records in {home}: create them first, or name their folder")
    key_file = KeyFile.read(home / KEY_FILE)
    if (key_file.backend == "postgresql") != bool(url):
        raise StoreMissing(
            f"the records of {home} live in {key_file.backend}: give the database URL for it, and only then"
        )
    keys = key_file.unlock(secret, identity)
    vault = Vault(home, key_file, keys, postgres_engine(url), clock) if url else _open_file(home, key_file, keys, clock)
    try:
        with vault.reading() as connection:
            if revision_of(connection) is None:
                raise StoreMissing(
                    f"the database of {home} holds no records: making them was cut off. Remove the folder, start anew"
                )
            found = connection.scalar(select(meta.c.value).where(meta.c.name == "store"))
        if found != key_file.store:
            raise StoreDamaged(f"the key file in {home} belongs to other records than this database; restore a backup")
    except BaseException:
        vault.close()
        raise
    return vault


def _open_file(home: Path, key_file: KeyFile, keys: Keys, clock: Clock) -> Vault:
    """SQLite. On a medium that cannot be written it is read as it lies; with a log left over, from a copy."""
    data = home / DATA_FILE
    if not data.exists():
        raise StoreMissing(f"{data} is missing beside its key file: restore a backup")
    if os.access(home, os.W_OK) and os.access(data, os.W_OK):
        return Vault(home, key_file, keys, _engine(home, keys, None), clock)
    log = data.with_name(f"{data.name}-wal")
    if not (log.exists() and log.stat().st_size):
        return Vault(home, key_file, keys, sqlite_engine(data, keys.purpose("database"), writable=False), clock, True)
    scratch = Path(tempfile.mkdtemp(prefix="canalwright-"))
    for file in (data, log):
        shutil.copy(file, scratch / file.name)
        (scratch / file.name).chmod(0o600)
    return Vault(
        home, key_file, keys, sqlite_engine(scratch / DATA_FILE, keys.purpose("database")), clock, True, scratch
    )


def _engine(home: Path, keys: Keys, url: str | None) -> Engine:
    return postgres_engine(url) if url else sqlite_engine(home / DATA_FILE, keys.purpose("database"))
