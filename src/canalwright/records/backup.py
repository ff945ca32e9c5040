"""Backups: made, checked by restoring them, and rotated."""

import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from canalwright.records.backup_file import Header, read_header, write_backup
from canalwright.records.chain import Head
from canalwright.records.chains import head_of
from canalwright.records.errors import ArchiveDamaged, BadEntry, NotFound, StoreTooNew
from canalwright.records.files import plain_words, private_folder, whole
from canalwright.records.keys import KeyFile
from canalwright.records.ledger import CHAIN
from canalwright.records.migrate import revision_of
from canalwright.records.moments import moment, stamp
from canalwright.records.restore import count_of, load, rows_of
from canalwright.records.rotation import Keep, Kept, to_delete
from canalwright.records.vault import BACKUPS, KEY_FILE, Vault

SUFFIX = ".backup"
DAY = timedelta(days=1)


@dataclass(frozen=True)
class Backup:
    """One backup that lies in the folder."""

    path: Path
    made: datetime
    head: Head
    label: str


@dataclass(frozen=True)
class Backups:
    """The backups of one set of records: beside the data, or `elsewhere` (another disk is better)."""

    vault: Vault
    elsewhere: Path | None = None

    @property
    def folder(self) -> Path:
        """Where the backups lie."""
        return self.elsewhere or self.vault.home / BACKUPS

    def make(self, label: str = "") -> Backup:
        """Make a backup and restore it on trial before it takes its name. Raises DiskFull, ArchiveDamaged.

        A `label` of letters, digits and dashes marks it as made for a reason; such a one is kept for 90 days.
        """
        if not re.fullmatch(r"[a-z0-9-]{0,40}", label):
            raise BadEntry("the label of a backup has letters a-z, digits and dashes only")
        folder = private_folder(self.folder)
        now = self.vault.clock()
        with self.vault.reading() as connection:
            header = Header(
                stamp(now),
                revision_of(connection) or "",
                head_of(connection, self.vault, CHAIN),
                count_of(connection),
                KeyFile.read(self.vault.home / KEY_FILE),
            )
            name = f"records-{now:%Y%m%dT%H%M%S%f}-{header.head.seq}{f'-{label}' if label else ''}{SUFFIX}"
            path = folder / name
            with whole(path) as file:
                write_backup(file, header, self.vault.keys.purpose("backup"), rows_of(connection))
                file.flush()
                self._try_out(Path(file.name), header)
        return Backup(path, now, header.head, label)

    def make_if_due(self, every: timedelta = DAY, keep: Keep | None = None) -> Backup | None:
        """Make a backup when something was recorded since the last, and that is older than `every`; then rotate."""
        found = self.all()
        now = self.vault.clock()
        with self.vault.reading() as connection:
            head = head_of(connection, self.vault, CHAIN)
        if found and (found[-1].head == head or timedelta(0) <= now - found[-1].made < every):
            return None
        made = self.make()
        self.rotate(keep)
        return made

    def all(self) -> list[Backup]:
        """The backups there are, the oldest first; files that are none, or damaged, are left out."""
        found = [backup for path in self._paths() if (backup := _backup(path))]
        return sorted(found, key=lambda b: (b.made, b.head.seq))

    def heads(self) -> list[Head]:
        """The newest event of each backup of these records: what the chain must still hold."""
        store = self.vault.key_file.store
        return [b.head for b in self.all() if read_header(b.path).key_file.store == store]

    def check(self, path: Path) -> Header:
        """Restore a backup on trial and throw that away. Raises ArchiveDamaged, NotFound."""
        if not path.is_file():
            raise NotFound(f"there is no backup {path}")
        header = read_header(path)
        self._try_out(path, header)
        return header

    def rotate(self, keep: Keep | None = None) -> list[str]:
        """Delete what no rule keeps; gives the names."""
        kept = [Kept(b.path.name, b.made, b.head.seq, b.label) for b in self.all()]
        gone = to_delete(kept, keep or Keep(), self.vault.clock())
        for name in gone:
            with plain_words(self.folder / name):
                (self.folder / name).unlink()
        return gone

    def renew(self) -> Backup:
        """Make a fresh backup and delete all others: so that no copy of an erased person is left in this folder."""
        fresh = self.make()
        for backup in self.all():
            if backup.path != fresh.path:
                with plain_words(backup.path):
                    backup.path.unlink()
        return fresh

    def _paths(self) -> list[Path]:
        return sorted(p for p in self.folder.glob(f"records-*{SUFFIX}") if p.is_file()) if self.folder.is_dir() else []

    def _try_out(self, path: Path, header: Header) -> None:
        with _scratch() as folder:
            load(path, header, self.vault.keys, folder).close()


def _backup(path: Path) -> Backup | None:
    try:
        header = read_header(path)
        label = re.fullmatch(rf"records-[0-9T]+-[0-9]+-?(.*){re.escape(SUFFIX)}", path.name)
        return Backup(path, moment(header.made), header.head, label[1] if label else "")
    except (ArchiveDamaged, StoreTooNew, ValueError, OSError):
        return None


@contextmanager
def _scratch() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="canalwright-trial-") as folder:
        yield Path(folder)
