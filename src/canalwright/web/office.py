"""What all pages of one server share: the shelf of cases, the bench, the tray, the chairs, the scans, the radiographs, moving pictures."""

import asyncio
import contextlib
import logging
from dataclasses import dataclass

from canalwright import casefile
from canalwright.casefile import Case
from canalwright.imaging.errors import ScanError
from canalwright.instruments import Tray
from canalwright.web.begun import Begun
from canalwright.web.bench import Bench
from canalwright.web.chair import Chairs
from canalwright.web.checks import Checks
from canalwright.web.films import Films
from canalwright.web.gone import ERASED, Gone, Traces
from canalwright.web.moving import MovingPictures
from canalwright.web.scan.store import Scans
from canalwright.web.shelf import CLOSED, CaseGone, Shelf

log = logging.getLogger(__name__)


@dataclass
class Office:
    """One server's things."""

    tray: Tray
    shelf: Shelf
    bench: Bench
    chairs: Chairs
    scans: Scans
    radiographs: Films
    checks: Checks
    moving: MovingPictures
    begun: Begun
    gone: Gone

    @classmethod
    def of(cls, tray: Tray) -> "Office":
        """A fresh office with an empty shelf."""
        bench, scans = Bench(tray), Scans()
        moving = MovingPictures(bench, scans.hands)
        return cls(tray, Shelf(), bench, Chairs(bench), scans, Films(), Checks(), moving, Begun(), Gone())

    def forget(self, owner: str) -> None:
        """Close what a reader had open: scans, radiographs, checks."""
        for scan in self.scans.listed(owner):
            self.scans.close(scan)
        self.radiographs.forget(owner)
        self.checks.forget(owner)

    def found(self, key: str, index: int) -> Case | None:
        """The case of a key if it is open, or was when its radiographs were kept, and has a canal of that index."""
        case = self.shelf.get(key)
        if case is None and key in self.radiographs.cases():
            self._bring_back(key)
            case = self.shelf.get(key)
        return case if case is not None and 0 <= index < len(case.canals) else None

    def listed(self) -> tuple[tuple[str, Case], ...]:
        """The open cases, and those that radiographs are kept of."""
        for key in self.radiographs.cases():
            if self.shelf.get(key) is None:
                self._bring_back(key)
        return self.shelf.listed()

    def take(self, case: Case) -> str:
        """Lay a case on the shelf that is opened anew, and give its key. Raises ShelfFull."""
        return self.shelf.take(case)

    def put(self, case: Case, instead_of: str = "") -> str:
        """Lay a changed case on the shelf and give its key; its radiographs follow it. Raises CaseGone where `instead_of` is not open."""
        if instead_of and (why := self.why_gone(instead_of)):
            raise CaseGone(why)
        key = self.shelf.put(case, instead_of=instead_of)
        self.refile(key)
        return key

    def refile(self, key: str) -> None:
        """The kept radiographs of a case belong to what it is now; where the disk takes nothing they stay with what it was."""
        case, line = self.shelf.get(key), self.shelf.line(key)
        if case is None or not self.radiographs.holds(line):
            return
        try:
            self.radiographs.follow(line, key, casefile.dumps(case), self.shelf.came_from(key))
        except ScanError as error:
            log.warning("%s", error)

    def keep_film(self, key: str) -> None:
        """Write a radiograph of an open case down as it is now. Raises ScanError where it could not be."""
        film = self.radiographs.get(key)
        case = self.shelf.get(film.case) if film is not None else None
        if film is not None and case is not None:
            self.radiographs.keep(key, casefile.dumps(case), self.shelf.came_from(film.case))

    def why_gone(self, key: str) -> str:
        """Why the case of a key cannot be shown or changed; nothing where it is open, in this state or in a later one."""
        if self.shelf.get(key) is not None:
            return ""
        if key in self.gone:
            return ERASED
        return "" if self.shelf.knows(key) else CLOSED

    async def film_unkept(self, key: str) -> str:
        """Write a radiograph down behind the page; gives why it could not be, nothing where it could."""
        film = self.radiographs.get(key)
        if film is not None and film.case and (why := self.why_gone(film.case)):
            return why
        try:
            await asyncio.to_thread(self.keep_film, key)
        except ScanError as error:
            return str(error)
        return ""

    async def unkept(self) -> str:
        """Why what was changed could not be written down, once that is known; nothing where it could."""
        return await asyncio.to_thread(self.shelf.settle)

    def erase(self, traces: Traces) -> None:
        """Take away, of every reader and off the disk too, what was left of a person: open cases in all their states, their radiographs,
        sessions at the chair, checks, scans; a window that still shows one is told so."""
        keys = set(traces.keys)
        for _ in range(2):  # what was changed, or brought back by its radiograph, while the first went on
            self.radiographs.erase_for_all(keys, traces.records)
            keys |= self.shelf.erase(keys, traces.records)
        sessions = self.chairs.erase(keys, traces.records, traces.sessions)
        self.checks.erase(keys)
        for case in traces.cases:
            self.scans.erase(case)
        self.gone.add(keys | sessions)

    def close(self, key: str) -> None:
        """Take a case with what it was made from, and its radiographs, off shelf and disk; sessions at the chair stay."""
        line = self.shelf.line(key)
        self.radiographs.erase(line)
        self.shelf.drop(line)
        self.shelf.settle()

    def _bring_back(self, key: str) -> None:
        text, record = self.radiographs.cases()[key]
        with contextlib.suppress(casefile.CaseError):
            found = self.shelf.put(casefile.loads(text, "case"))
            if record:
                self.shelf.note(found, record)
