"""One process of the page at work: it takes a task, tells how far it is, hands over what came of it, and takes the next one.

It loads nothing but what its tasks need: so the planner is a third smaller than with all that the page is made of.
"""

import contextlib
import importlib
import multiprocessing
import multiprocessing.connection
import os
import signal
import threading
import traceback
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Protocol

from canalwright.web.memory import give_back, settle

Told = Callable[[str, float | None], None]
BEHIND = 10
"""By how much a process that yields is nice."""


class Teller(Protocol):
    """What a task is given: called with what it does and the share that is done, it tells; `part` hands over what is ready already."""

    def __call__(self, text: str, share: float | None) -> None:
        """Tell what is being done, and the share of all that is done, 0 to 1, None where that is not known."""

    def part(self, piece: Any) -> None:
        """Hand over a piece of the result before the whole."""


def serve(pipe: Connection, yields: bool, loads: str) -> None:
    """A process: loads the room of its tasks while it waits, takes work, tells, answers."""
    leave_with_parent()
    if yields:
        _step_back()
    if loads:
        importlib.import_module(loads)
    settle()
    with contextlib.suppress(EOFError, OSError):
        while True:
            task, arguments, refuses = pipe.recv()
            tell = _Tell(pipe)
            try:
                tell.send("done", task(tell, *arguments))
            except refuses as error:
                tell.send("refused", str(error))
            except MemoryError:
                tell.send("short", "")
            except Exception:
                tell.send("broken", traceback.format_exc())
            del task, arguments
            give_back()


def _step_back() -> None:
    """Everything else goes first, the reader's browser too.

    Linux shares the processor out between sessions before it looks at who of a session is nice, and a browser is a session of its own: so
    this process makes itself one that is nice. Measured with 20 cases open and planned anew on two cores: a moved control was answered
    in 0.23 s at the median, 0.26 before.
    """
    if hasattr(os, "nice"):
        os.nice(BEHIND)
    group = Path("/proc/self/autogroup")
    # A session of its own that is not nice would be worse than none.
    if hasattr(os, "setsid") and os.access(group, os.W_OK):
        with contextlib.suppress(OSError):
            os.setsid()
            group.write_text(str(BEHIND), encoding="ascii")


class _Tell:
    """The teller of one task, from any of its threads."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe, self._lock = pipe, threading.Lock()

    def __call__(self, text: str, share: float | None) -> None:
        self.send("told", text, share)

    def part(self, piece: Any) -> None:
        self.send("part", piece)

    def send(self, *message: Any) -> None:
        with self._lock:
            self._pipe.send(message)


def leave_with_parent() -> None:
    """A process of the page: deaf to the keyboard, gone when the page is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_leave_with, args=(parent.sentinel,), daemon=True).start()


def _leave_with(sentinel: int) -> None:
    multiprocessing.connection.wait([sentinel])
    os._exit(0)
