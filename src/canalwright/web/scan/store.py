"""The scans that are open: each with its voxels in a folder of its own, gone when it is closed.

Voxels lie in the system's folder for temporary files, readable by the user of the server only; what a crash left behind is swept away
when the next server starts. Nothing of the patient's identity is read from the headers.
"""

import atexit
import contextlib
import os
import secrets
import shutil
import tempfile
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import numpy as np

from canalwright.casefile import Case
from canalwright.imaging import ImagingError, ScanError, VoxelSize
from canalwright.imaging.viewing.planes import Planes
from canalwright.planning import PlanError
from canalwright.web.disk import refused
from canalwright.web.hands import Hands, Work
from canalwright.web.scan import tasks
from canalwright.web.scan.tracing import Tracing

PREFIX = "canalwright-scan-"
MOST = 3
ROOM = 1 << 30
"""Disk space that must be left after a scan was laid down, bytes."""


@dataclass
class OpenScan:
    """One scan: `phase` is receiving, reading, ready or failed. `owner`: who opened it, where there are accounts."""

    key: str
    owner: str
    folder: Path
    name: str
    phase: str = "receiving"
    work: Work | None = None
    kept: tasks.Kept | None = None
    received: int = 0
    files: dict[int, str] = field(default_factory=dict)
    tracing: Tracing = field(default_factory=Tracing)
    places: frozenset[tuple[float, ...]] = frozenset()
    """Where the canals end that were handed on as a case, rounded to 0.01 mm."""

    @cached_property
    def planes(self) -> Planes:
        """Its pictures; only of one that is ready."""
        kept = self.ready()
        return Planes(kept.scan(), kept.tones)

    def ready(self) -> tasks.Kept:
        """What was kept of it. Raises ScanError for one that is not read yet."""
        if self.kept is None:
            raise ScanError(f"{self.name}: not read yet; wait until it is open")
        return self.kept

    @property
    def error(self) -> str:
        """What went wrong with the reading."""
        return self.work.error if self.work else ""


class Scans:
    """The open scans of one server; `paths` lets a reader name a file of the server's machine."""

    def __init__(self, *, paths: bool = True, most: int = MOST) -> None:
        self.paths, self.most, self.hands = paths, most, Hands(refuses=(ImagingError, PlanError), loads=tasks.__name__)
        self._open: OrderedDict[str, OpenScan] = OrderedDict()
        self._lock = threading.Lock()
        self._root: Path | None = None

    def receive(self, name: str, owner: str) -> OpenScan:
        """A scan whose files will be sent; `name` is what to call it. Raises ScanError where nothing can be laid down."""
        with self._lock:
            key = secrets.token_hex(8)
            try:
                folder = self._folder() / key
                (folder / "sent").mkdir(parents=True)
            except OSError as error:
                raise ScanError(f"{name}: {refused(error, Path(tempfile.gettempdir()))}") from None
            opened = self._open[key] = OpenScan(key, owner, folder, name)
            old = list(self._open.values())[: -self.most]
        for scan in old:
            self.close(scan)
        return opened

    def practise(self, name: str, owner: str) -> OpenScan:
        """The practice scan, being made."""
        opened = self.receive(name, owner)
        self._work(opened, tasks.practice, opened.folder, name)
        return opened

    def read(
        self, opened: OpenScan, path: Path | None = None, *, voxel: VoxelSize | None = None, series: str | None = None
    ) -> None:
        """Begin to read: the files that were sent, or `path` on this machine."""
        if path is None:
            sent = sorted((opened.folder / "sent").iterdir())
            if not sent:
                raise ScanError(f"{opened.name}: no file was sent; choose a file or a folder")
            path = sent[0] if len(sent) == 1 else opened.folder / "sent"
        if shutil.disk_usage(opened.folder).free < ROOM:
            raise ScanError(f"{opened.name}: less than 1 GiB free in {opened.folder.parent}; make room there")

        self._work(opened, tasks.read, path, opened.folder, opened.name, voxel, series)

    def _work(self, opened: OpenScan, task: Callable[..., tasks.Kept], *arguments: object) -> None:
        def done(kept: tasks.Kept) -> None:
            for name in ("sent", "unpacked"):
                shutil.rmtree(opened.folder / name, ignore_errors=True)
            opened.kept, opened.phase = kept, "ready"
            self.hands.warm(yields=True)

        opened.phase = "reading"
        opened.work = self.hands.do("read", task, *arguments, done=done)

    def get(self, key: str, owner: str) -> OpenScan | None:
        """An open scan of this reader's, or None."""
        with self._lock:
            found = self._open.get(key)
            if found is None or found.owner != owner:
                return None
            self._open.move_to_end(key)
        if found.phase == "reading" and found.work is not None and found.work.state in ("failed", "cancelled"):
            found.phase = "failed"
        return found

    def listed(self, owner: str) -> tuple[OpenScan, ...]:
        """The reader's open scans, the one looked at last first."""
        with self._lock:
            return tuple(s for s in reversed(self._open.values()) if s.owner == owner)

    def close(self, opened: OpenScan) -> None:
        """Stop what is under way, forget it, take its voxels off the disk."""
        with self._lock:
            self._open.pop(opened.key, None)
        for work in (opened.work, opened.tracing.work):
            if work is not None:
                work.cancel()
        shutil.rmtree(opened.folder, ignore_errors=True)

    def behind(self, case: Case, owner: str) -> OpenScan | None:
        """The open scan that a case's canals were read from: told by where they end."""
        return next((s for s in self.listed(owner) if _ends(case) & s.places), None)

    def erase(self, case: Case) -> None:
        """Close every reader's scans that a case was read from."""
        for scan in [s for s in tuple(self._open.values()) if _ends(case) & s.places]:
            self.close(scan)

    def shut(self) -> None:
        """Close everything."""
        for scan in list(self._open.values()):
            self.close(scan)
        self.hands.close()
        if self._root is not None:
            shutil.rmtree(self._root, ignore_errors=True)

    def _folder(self) -> Path:
        if self._root is None:
            sweep()
            self._root = Path(tempfile.mkdtemp(prefix=f"{PREFIX}{os.getpid()}-"))
            atexit.register(self.shut)
        return self._root


def _ends(case: Case) -> set[tuple[float, ...]]:
    """Where a case's canals end."""
    return {tuple(np.round(c.native.centre[0], 2).tolist()) for c in case.canals}


def sweep() -> None:
    """Take away what servers left behind that are not running any more."""
    for folder in Path(tempfile.gettempdir()).glob(f"{PREFIX}*"):
        number = folder.name.removeprefix(PREFIX).split("-")[0]
        if number.isdigit() and not _runs(int(number)):
            shutil.rmtree(folder, ignore_errors=True)


def _runs(number: int) -> bool:
    """Whether a process of this number runs; where the system does not say, it is taken to."""
    if os.name != "posix":
        return True
    with contextlib.suppress(PermissionError):
        try:
            os.kill(number, 0)
        except ProcessLookupError:
            return False
    return True
