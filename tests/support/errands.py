"""What the tests have a process of the page do; in a module of its own that loads little, since each process loads it."""

import os
import signal
from pathlib import Path

from canalwright.web.worker import Teller, Told


def at_once(told: Told) -> str:
    """Answer."""
    return "here"


def for_ever(told: Told, path: Path) -> None:
    """Tell, write down which process this is, and compute on."""
    told("turning", 0.5)
    path.write_text(str(os.getpid()))
    while True:
        pass


def killed(told: Told, note: Path) -> str:
    """Be killed once for each letter in `note`, which is taken off; then answer."""
    left = note.read_text()
    note.write_text(left[1:])
    if left:
        os.kill(os.getpid(), signal.SIGKILL)
    return "at last"


def in_parts(told: Teller) -> str:
    """A part before the whole."""
    told.part("a part")
    told("halfway", 0.5)
    return "the whole"


def too_large(told: Told) -> str:
    """Ask for more memory than there is."""
    raise MemoryError
