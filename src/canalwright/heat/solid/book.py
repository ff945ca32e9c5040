"""The energy book: heat in cells and instrument, and what comes or goes with matter."""

from collections.abc import Callable

import numpy as np

from canalwright.heat.solid.kernel_base import GROSS, INVERSE, MATTER, Y0, Rod
from canalwright.heat.solid.space import Array
from canalwright.heat.solid.state import State


def heat_in(state: State, rod: Rod | None) -> float:
    """Heat in the cells, and in the instrument if there is one, J, above body temperature."""
    inverse = state.field.g[INVERSE].astype(float)
    u = state.t.astype(float)
    u[state.fixed.cells] += state.melt.e[0]
    total = float(np.sum(np.where(inverse > 0, u / np.where(inverse > 0, inverse, 1.0), 0.0)))
    if rod is not None:
        total += float(np.sum(rod.t[Y0] / np.where(rod.inverse > 0, rod.inverse, np.inf)))
    return total


class Note:
    """Writes the change of heat between entry and exit into the book, where one is kept."""

    def __init__(self, energy: Callable[[], float], book: Array, kept: bool) -> None:
        self.energy, self.book, self.kept, self.before = energy, book, kept, 0.0

    def __enter__(self) -> None:
        if self.kept:
            self.before = self.energy()

    def __exit__(self, *_: object) -> None:
        if self.kept:
            change = self.energy() - self.before
            self.book[MATTER] += change
            self.book[GROSS] += abs(change)
