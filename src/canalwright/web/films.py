"""Open radiographs that outlast the server: in memory while they are looked at, on the disk with their marks and their case.

`Films` does what `radiographs.Radiographs` does; what it has not in memory it takes from its `book`. A film follows its case through
every change: it remembers under which keys the case lay, and the case itself as it is now, so that both come back after a restart.
"""

import json
import threading
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from canalwright.imaging.errors import ScanError
from canalwright.web.filmbook import Filmbook
from canalwright.web.filmkeep import described, pictured, unpacked, use_of
from canalwright.web.radiographs import Open, Radiographs, Use
from canalwright.web.reader import reader

MOST_KEYS = 200
"""Keys of a case that a film remembers, the newest ones."""


@dataclass(frozen=True)
class Belongs:
    """What a film on the disk belongs to: the keys of its case, newest last, the case file, and the case of the records."""

    keys: tuple[str, ...]
    case: str
    record: str
    use: Use


@dataclass
class Films(Radiographs):
    """Radiographs of all readers, kept in a book."""

    book: Filmbook = field(default_factory=Filmbook)
    _kept: dict[str, dict[str, Belongs]] = field(default_factory=dict, repr=False)
    _lock: Any = field(default_factory=threading.RLock, repr=False)

    def get(self, key: str) -> Open | None:
        """A film of the reader's, from the disk where it is not in memory."""
        found = super().get(key)
        if found is None and key in self._shelf():
            found = self._recalled(key)
        return found

    def of(self, cases: Collection[str]) -> list[tuple[str, Open]]:
        """The reader's films of any of these cases, the one used last at the end."""
        found = dict(super().of(cases))
        for key in self._of(cases):
            film = super().get(key) or self._recalled(key)
            if film is not None:
                found.pop(key, None)
                found[key] = film
        return list(found.items())

    def last(self, cases: Collection[str], canal: str, what: str, slot: int = 0) -> tuple[str, Use]:
        """Key and use of the film that was last used so; no picture is read for it."""
        key, use = super().last(cases, canal, what, slot)
        if key:
            return key, use
        for kept, one in reversed(self._shelf().items()):
            if set(one.keys) & set(cases) and (one.use.canal, one.use.what, one.use.slot) == (canal, what, slot):
                return kept, one.use
        return "", Use(canal)

    def keep(self, key: str, case: str = "", record: str = "") -> None:
        """Write a film down as it is now, with the text of its `case` and the case of the records where those are known.

        Raises ScanError where it could not be written; it is in memory then, and nowhere else.
        """
        with self._lock:
            found = super().get(key)
            if found is None or not found.case:
                return
            before = self._shelf().get(key)
            keys = before.keys if before else ()
            if not keys or keys[-1] != found.case:
                keys = (*(k for k in keys if k != found.case), found.case)[-MOST_KEYS:]
            old = (before.case, before.record) if before else ("", "")
            self._write(key, found, Belongs(keys, case or old[0], record or old[1], found.use))

    def follow(self, line: Collection[str], key: str, case: str, record: str = "") -> None:
        """A case was changed: its films belong to the one that it has become, under `key`, too. Raises ScanError."""
        with self._lock:
            for name in self._of(line):
                found = super().get(name) or self._recalled(name)
                if found is not None:
                    self._open[name] = replace(found, case=key)
                    self.keep(name, case, record)

    def holds(self, cases: Collection[str]) -> bool:
        """Whether a film of any of these cases is kept."""
        return bool(self._of(cases))

    def cases(self) -> dict[str, tuple[str, str]]:
        """The cases that the reader's kept films belong to: file text and case of the records by newest key."""
        return {one.keys[-1]: (one.case, one.record) for one in self._shelf().values() if one.case}

    def erase(self, cases: Collection[str]) -> int:
        """Take the reader's films of these cases away, from the disk too; gives how many."""
        gone = set(self._of(cases)) | {
            k for k, film in self._open.items() if film.owner == reader() and film.case in cases
        }
        for key in gone:
            self.drop(key)
        return len(gone)

    def erase_for_all(self, cases: Collection[str], records: Collection[str]) -> None:
        """Take every reader's films away that belong to these cases, or to these cases of the records."""

        def theirs(told: dict[str, bytes]) -> list[str]:
            said = {name: json.loads(one) for name, one in told.items()}
            return [k for k, one in said.items() if set(one["keys"]) & set(cases) or one["record"] in records]

        with self._lock:
            self.book.erase(theirs)
            self._kept.clear()
            for key in [k for k, film in self._open.items() if film.case in cases or self.book.told(k) is None]:
                del self._open[key]  # one that is not kept can be loaded again; better than one left over

    def drop(self, key: str) -> None:
        """Take one film of the reader's away, from the disk too."""
        with self._lock:
            if super().get(key) is not None:
                del self._open[key]
            if self._shelf().pop(key, None) is not None:
                self.book.drop(key)

    def forget(self, owner: str) -> None:
        """Let go of what a reader had in memory; what is kept on the disk stays for the next time."""
        super().forget(owner)
        self._kept.clear()  # read again by whoever asks next

    def _of(self, cases: Collection[str]) -> list[str]:
        """Names of the reader's kept films of these cases, the one used last at the end."""
        return [k for k, one in self._shelf().items() if set(one.keys) & set(cases)]

    def _write(self, key: str, film: Open, one: Belongs) -> None:
        told = {"film": described(film), "keys": one.keys, "case": one.case, "record": one.record}
        self.book.write(key, json.dumps(told, allow_nan=False).encode(), lambda: pictured(film))
        self._shelf().pop(key, None)
        self._shelf()[key] = one

    def _recalled(self, key: str) -> Open | None:
        """A film from the disk, in memory again; one that cannot be read is as if it were not there, and stays on the disk."""
        with self._lock:
            told, picture, one = self._told(key), self.book.picture(key), self._shelf().get(key)
            if told is None or picture is None or one is None:
                self._shelf().pop(key, None)
                return None
            try:
                kept = unpacked(picture, json.dumps(told["film"]).encode(), "radiograph", readable=False)
            except ScanError:
                self._shelf().pop(key, None)
                return None
            self.book.used(key)
            made = Open("radiograph", kept.film, kept.picture, reader(), kept.marks, one.keys[-1], kept.use)
            self._take(key, made)
            return made

    def _told(self, key: str) -> dict[str, Any] | None:
        content = self.book.told(key)
        try:
            told = json.loads(content) if content else None
        except (ValueError, RecursionError):
            return None
        return told if isinstance(told, dict) and isinstance(told.get("film"), dict) else None

    def _shelf(self) -> dict[str, Belongs]:
        """What lies on the disk of this reader, the film used last at the end; read once."""
        with self._lock:
            folder = str(self.book.folder)
            if folder not in self._kept:
                self._kept[folder] = dict(self._found())
            return self._kept[folder]

    def _found(self) -> Iterator[tuple[str, Belongs]]:
        for name in self.book.listed():
            told = self._told(name)
            try:
                if told is not None and (keys := tuple(str(k) for k in told["keys"])):
                    yield name, Belongs(keys, str(told["case"]), str(told["record"]), use_of(told["film"]["use"]))
            except (ValueError, TypeError, KeyError, AttributeError):
                continue
