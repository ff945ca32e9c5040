"""Studies without identity that wait to be fetched: in memory only, for some minutes, and together no more than one study may hold.

They lie on no disk, since the page promises that what is sent touches none. One goes when it is fetched, when its reader signs out, when
its time is over, and the oldest first when the room is needed for another.
"""

import threading
import time
from collections import OrderedDict
from dataclasses import dataclass

KEEP = 600.0
"""Seconds that a study waits."""
MOST = 512 << 20
"""Bytes of all together; a study larger than that waits alone."""


@dataclass(frozen=True)
class _Study:
    name: str
    content: bytes
    until: float


class Cleaned:
    """One study at most for each session, under its token; `name` is the reader's."""

    def __init__(self, keep: float = KEEP, most: int = MOST) -> None:
        self._keep, self._most = keep, most
        self._waiting: OrderedDict[str, _Study] = OrderedDict()
        self._lock = threading.Lock()

    def put(self, token: str, name: str, content: bytes) -> None:
        """Let a study wait, in the place of the one that the session had."""
        with self._lock:
            self._waiting.pop(token, None)
            while self._waiting and sum(len(s.content) for s in self._waiting.values()) + len(content) > self._most:
                self._waiting.popitem(last=False)
            self._waiting[token] = _Study(name, content, time.monotonic() + self._keep)
        timer = threading.Timer(self._keep, self._look)
        timer.daemon = True
        timer.start()

    def take(self, token: str) -> bytes | None:
        """The study of a session, once; None where none waits."""
        self._look()
        with self._lock:
            found = self._waiting.pop(token, None)
        return None if found is None else found.content

    def drop(self, name: str) -> None:
        """Forget what waits for a reader."""
        with self._lock:
            for token in [t for t, s in self._waiting.items() if s.name == name]:
                del self._waiting[token]

    def __len__(self) -> int:
        """How many wait."""
        return len(self._waiting)

    def _look(self) -> None:
        """Forget those whose time is over."""
        with self._lock:
            for token in [t for t, s in self._waiting.items() if s.until <= time.monotonic()]:
                del self._waiting[token]
