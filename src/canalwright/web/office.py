"""What all pages of one server share: the shelf of cases, the bench, the tray, the chairs, the scans, the radiographs, moving pictures."""

from dataclasses import dataclass

from canalwright.casefile import Case
from canalwright.instruments import Tray
from canalwright.web.bench import Bench
from canalwright.web.chair import Chairs
from canalwright.web.checks import Checks
from canalwright.web.moving import MovingPictures
from canalwright.web.radiographs import Radiographs
from canalwright.web.scan.store import Scans
from canalwright.web.shelf import Shelf


@dataclass
class Office:
    """One server's things."""

    tray: Tray
    shelf: Shelf
    bench: Bench
    chairs: Chairs
    scans: Scans
    radiographs: Radiographs
    checks: Checks
    moving: MovingPictures

    @classmethod
    def of(cls, tray: Tray) -> "Office":
        """A fresh office with an empty shelf."""
        bench, scans = Bench(tray), Scans()
        moving = MovingPictures(bench, scans.hands)
        return cls(tray, Shelf(), bench, Chairs(bench), scans, Radiographs(), Checks(), moving)

    def forget(self, owner: str) -> None:
        """Close what a reader had open: scans, radiographs, checks."""
        for scan in self.scans.listed(owner):
            self.scans.close(scan)
        self.radiographs.forget(owner)
        self.checks.forget(owner)

    def found(self, key: str, index: int) -> Case | None:
        """The case of a key if it is open and has a canal of that index."""
        case = self.shelf.get(key)
        return case if case is not None and 0 <= index < len(case.canals) else None
