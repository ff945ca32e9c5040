"""The canals of one scan while they are looked at: what was found, the log of corrections, undo and redo, and what will be a case."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging import FoundCanal, ScanError
from canalwright.imaging.corrections import Correction
from canalwright.imaging.viewing.outer import Outer
from canalwright.imaging.viewing.reformat import Line
from canalwright.web.hands import Hands, Work
from canalwright.web.scan import tasks

Array = NDArray[np.float64]
Point = tuple[float, float, float]
BUSY = "something is being measured already; wait for it or cancel it"


@dataclass
class Tracing:
    """`revision` grows with every change of what is shown; `canals` are those after the first `at` corrections of `log`."""

    revision: int = 0
    click: Point | None = None
    found: tuple[FoundCanal, ...] = ()
    surfaces: tuple[Outer, ...] = ()
    log: tuple[Correction, ...] = ()
    at: int = 0
    after: list[tuple[FoundCanal, ...]] = field(default_factory=lambda: [()])
    reference: Point | None = None
    work: Work | None = None
    _memory: tasks.Memory = field(default_factory=dict, repr=False)
    _lines: dict[int, tuple[FoundCanal, Line]] = field(default_factory=dict, repr=False)

    @property
    def canals(self) -> tuple[FoundCanal, ...]:
        """The canals as they stand."""
        return self.after[self.at]

    @property
    def applied(self) -> tuple[Correction, ...]:
        """The corrections that hold."""
        return self.log[: self.at]

    @property
    def busy(self) -> bool:
        """Whether something is being found or measured."""
        return self.work is not None and not self.work.over

    def line(self, index: int) -> Line:
        """The line of a canal, made once for each canal that is shown."""
        canal = self.canals[index]
        kept = self._lines.get(index)
        if kept is None or kept[0] is not canal:
            kept = self._lines[index] = canal, Line.of(canal)
        return kept[1]

    def find(self, hands: Hands, kept: tasks.Kept, click: Point) -> None:
        """Begin to find the canals of the tooth at a click. Raises ScanError while something else is under way."""

        def done(result: tuple[tuple[FoundCanal, ...], tuple[Outer, ...]]) -> None:
            self.found, self.surfaces = result
            self.click, self.log, self.at, self.after = click, (), 0, [self.found]
            self._memory, self.reference = {}, None
            self.revision += 1

        self._begin(hands, "find", tasks.find, (kept, click), done)

    def correct(self, hands: Hands, kept: tasks.Kept, correction: Correction) -> None:
        """Begin to apply one more correction; those that were undone are dropped. Raises ScanError while something is under way."""
        log, before, found = (*self.applied, correction), self.after[: self.at + 1], self.found

        def done(result: tuple[tuple[FoundCanal, ...], tasks.Memory]) -> None:
            canals, self._memory = result
            self.log, self.after, self.at = log, [*before, canals], len(log)
            self.revision += 1

        self._begin(hands, "measure", tasks.corrected, (kept, found, log, self._memory), done)

    def undo(self) -> None:
        """Leave the last correction out; it can be redone."""
        self._go(max(self.at - 1, 0))

    def redo(self) -> None:
        """Put the correction that was left out last in again."""
        self._go(min(self.at + 1, len(self.log)))

    def refer(self, point: Point | None) -> None:
        """Set the reference point, where the rubber stop will rest (LPS mm); None takes it back."""
        self.reference = point
        self.revision += 1

    def above(self, canal: FoundCanal) -> float | None:
        """From the orifice to the reference point, mm; None without one."""
        return None if self.reference is None else float(np.linalg.norm(np.array(self.reference) - canal.orifice))

    def _go(self, at: int) -> None:
        if self.busy:
            raise ScanError(BUSY)
        if at != self.at:
            self.at = at
            self.revision += 1

    def _begin(
        self,
        hands: Hands,
        kind: str,
        task: Callable[..., object],
        arguments: tuple[object, ...],
        done: Callable[..., None],
    ) -> None:
        if self.busy:
            raise ScanError(BUSY)
        self.work = hands.do(kind, task, *arguments, done=done, yields=True)
