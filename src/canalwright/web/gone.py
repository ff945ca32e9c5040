"""Which cases and sessions were erased with the person they are of: so that a window that still shows one can say so, and why.

Only marks of their names are kept, made with a key of the records, for as long as anything else is kept that nobody uses: nothing of a
case can be read from them. Without records nobody is erased, and there is nothing to keep.
"""

import contextlib
import hashlib
import hmac
import json
import threading
import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from canalwright.casefile import Case
from canalwright.casefile.whole import write_whole
from canalwright.web.book import KEPT

ERASED = "The data of the person this was of has been erased. Nothing of it can be shown, changed or kept any more."
FILE = "gone.json"


@dataclass(frozen=True)
class Traces:
    """What the records know of a person that they erase: names of the cases of the records, keys under which these were open, the `cases`
    as they were measured, the sessions at the chair that were kept with them."""

    records: frozenset[str] = frozenset()
    keys: frozenset[str] = frozenset()
    cases: tuple[Case, ...] = ()
    sessions: frozenset[str] = frozenset()


class Gone:
    """Marks of what was erased; on the disk too where there is a `folder`."""

    def __init__(self, folder: Path | None = None, key: bytes = b"") -> None:
        self._path, self._key = (folder / FILE if folder is not None else None), key
        self._marks: dict[str, float] | None = None
        self._lock = threading.Lock()

    def add(self, names: Iterable[str]) -> None:
        """Mark keys of cases and names of sessions. What the disk does not take is known until the server stops."""
        with self._lock:
            marks, now = self._known(), time.time()
            marks |= {self._mark(name): now for name in names}
            for old in [mark for mark, since in marks.items() if now - since > KEPT]:
                del marks[old]
            if self._path is not None:
                with contextlib.suppress(OSError):
                    write_whole(json.dumps(marks).encode(), self._path)

    def __contains__(self, name: str) -> bool:
        with self._lock:
            return self._mark(name) in self._known()

    def _mark(self, name: str) -> str:
        return hmac.new(self._key, name.encode(), hashlib.sha256).hexdigest()[:16]

    def _known(self) -> dict[str, float]:
        if self._marks is None:
            self._marks = {}
            if self._path is not None:
                with contextlib.suppress(OSError, ValueError, TypeError, AttributeError):
                    told = json.loads(self._path.read_bytes()).items()
                    self._marks = {str(mark): float(since) for mark, since in told}
        return self._marks
