"""Where sessions at the chair are kept, so that a reload, a crash or a power cut loses nothing: one file each, a line for each event.

The first line holds the case, the canal and the choices; each further line one event, on the disk before it is answered.
A last line that was torn by a crash is left out.
Files lie in the user's own data folder (`CANALWRIGHT_DATA`, else the system's usual place) and are
readable by that user only; they hold what the case file holds, no more.
"""

import contextlib
import errno
import json
import os
import re
import secrets
import sys
from collections.abc import Collection, Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

from canalwright import casefile
from canalwright.casefile import CaseError
from canalwright.guide import Event
from canalwright.guide.log import events_of, plain
from canalwright.web.disk import refused
from canalwright.web.held import KEY

IDENT = re.compile(r"[0-9a-f]{16}")


@dataclass(frozen=True)
class Head:
    """What a session is about: case file text, canal, choices as a query, when it began, whether it is practice, and which case of the
    records it is of."""

    case: str
    canal: int
    query: str
    began: float
    practice: bool = False
    record: str = ""


class ChairbookError(ValueError):
    """A session that cannot be read or continued."""


class NotWritten(ChairbookError):
    """What was told could not be written down; nothing was changed, and it may be told again."""


class Chairbook:
    """All sessions of this user."""

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = folder or data_folder() / "chair"

    def new(self, head: Head) -> str:
        """Begin a session and give its name. Raises NotWritten."""
        self._ready()
        ident = secrets.token_hex(8)
        self._write(self._path(ident), [json.dumps(asdict(head))], new=True)
        return ident

    def read(self, ident: str) -> tuple[Head, list[Event]]:
        """A session's head and events; raises ChairbookError."""
        try:
            lines = self._told(self._path(ident))
        except OSError:
            raise ChairbookError(f"there is no session {ident!r} on this machine") from None
        return _head(lines[0], ident), list(events_of(lines[1:]))

    def append(self, ident: str, *events: Event) -> None:
        """Write events down, all or none; they are on the disk when this returns. Raises ChairbookError, NotWritten."""
        path = self._path(ident)
        if not self.there(ident):
            raise ChairbookError(f"there is no session {ident!r} on this machine")
        self._write(path, [json.dumps(plain(event)) for event in events])

    def there(self, ident: str) -> bool:
        """Whether there is a session of this name."""
        return self._path(ident).exists()

    def drop(self, ident: str) -> None:
        """Take a session away again that could not be written whole."""
        self._path(ident).unlink(missing_ok=True)

    def erase(self, cases: Collection[str], records: Collection[str], sessions: Collection[str]) -> set[str]:
        """Take away, in all folders, the sessions of these names, those of these cases of the records, and those that are of none but
        of a case of these keys; gives their names."""
        gone = set()
        for path in [p for folder in self.folders() if folder.is_dir() for p in folder.glob("*.jsonl")]:
            with contextlib.suppress(OSError, ChairbookError, CaseError):
                head = _head(self._told(path)[0], path.stem)
                known = path.stem in sessions or head.record in records
                if known or (not head.record and casefile.loads(head.case, "session").digest[:KEY] in cases):
                    path.unlink(missing_ok=True)
                    gone.add(path.stem)
        return gone

    def folders(self) -> Iterable[Path]:
        """All folders of the book, those of others too."""
        return (self.folder,)

    def listed(self) -> list[str]:
        """Names of all sessions, the one touched last first."""
        if not self.folder.is_dir():
            return []
        found = [p for p in self.folder.glob("*.jsonl") if IDENT.fullmatch(p.stem)]
        return [p.stem for p in sorted(found, key=lambda p: p.stat().st_mtime, reverse=True)]

    def text(self, ident: str) -> str:
        """A session as it was written down, in the clear; raises ChairbookError."""
        head, events = self.read(ident)
        return "".join(f"{json.dumps(line)}\n" for line in (asdict(head), *map(plain, events)))

    def restore(self, ident: str, text: str) -> bool:
        """Take in a session as `text` gives it; False where one of this name is there. Raises ChairbookError, NotWritten."""
        path = self._path(ident)
        if path.exists():
            return False
        first, *lines = text.encode().split(b"\n")
        head = _head(first, ident)
        self._ready()
        self._write(path, [json.dumps(line) for line in (asdict(head), *map(plain, events_of(lines)))], new=True)
        return True

    def _told(self, path: Path) -> list[bytes]:
        """The lines of a session's file."""
        return path.read_bytes().split(b"\n")

    def _path(self, ident: str) -> Path:
        if not IDENT.fullmatch(ident):
            raise ChairbookError("a session is named by sixteen hexadecimal digits")
        return self.folder / f"{ident}.jsonl"

    def _ready(self) -> None:
        folder = self.folder
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError as error:
            raise NotWritten(refused(error, folder)) from None

    def _write(self, path: Path, lines: list[str], *, new: bool = False) -> None:
        """Whole or not at all."""
        flags = os.O_WRONLY | getattr(os, "O_BINARY", 0) | (os.O_CREAT | os.O_EXCL if new else 0) | os.O_APPEND
        try:
            handle = os.open(path, flags, 0o600)
        except OSError as error:
            raise NotWritten(refused(error, path.parent)) from None
        before = os.fstat(handle).st_size
        try:
            text = (("\n" if not new and _torn(path) else "") + "".join(f"{line}\n" for line in lines)).encode()
            if os.write(handle, text) < len(text):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            os.fsync(handle)
        except OSError as error:
            with contextlib.suppress(OSError):
                os.ftruncate(handle, before)
            if new:
                path.unlink(missing_ok=True)
            raise NotWritten(refused(error, path.parent)) from None
        finally:
            os.close(handle)


def data_folder() -> Path:
    """The folder for this user's own data of this program."""
    if given := os.environ.get("CANALWRIGHT_DATA"):
        return Path(given)
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", Path.home())) / "canalwright"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "canalwright"
    return Path(os.environ.get("XDG_DATA_HOME", Path.home() / ".local" / "share")) / "canalwright"


def _torn(path: Path) -> bool:
    """Whether the last line was cut off while it was written."""
    with path.open("rb") as file:
        if file.seek(0, os.SEEK_END) == 0:
            return False
        file.seek(-1, os.SEEK_END)
        return file.read(1) != b"\n"


def _head(line: bytes, ident: str) -> Head:
    try:
        told = json.loads(line)
        return Head(
            str(told["case"]),
            int(told["canal"]),
            str(told["query"]),
            float(told["began"]),
            bool(told.get("practice")),
            str(told.get("record", "")),
        )
    except (ValueError, TypeError, KeyError, AttributeError):
        raise ChairbookError(f"session {ident} cannot be read: its first line is damaged") from None
