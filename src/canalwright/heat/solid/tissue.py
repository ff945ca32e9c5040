"""The root as a solid: what lies where, as distances to the canal's wall and to the root surface, and one byte per cell.

Nothing is stepped: a cell that a surface cuts holds both tissues by volume (`share`), and two cells conduct through the
exact lengths of the tissues between their centres (see `conduct`).
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from canalwright.heat.solid.space import Array, Single, Space

CANAL, DENTINE, CEMENTUM, LIGAMENT, CORTICAL, CANCELLOUS, SOFT, AIR = range(8)
TISSUES = (
    "canal", "dentine", "cementum", "ligament", "cortical bone", "cancellous bone", "soft tissue", "air or bath",
)  # fmt: skip
CEMENTUM_THICKNESS = 0.1
"""Cementum is told apart in the labels only: no property of its own was found, so it conducts as dentine does."""


@dataclass(frozen=True)
class Solid:
    """A root in its surroundings, on the cells of `space`; fields are indexed [z, y, x], single precision.

    `canal`: distance to the canal's wall, negative inside; `root`: distance to the nearest root surface (own or neighbour's),
    negative in dentine; `own`: the same for the root that is filled; `station`: place along its canal (z of the lumen);
    `radius`: distance from the canal's axis; `angle` [rad] about it, from the greatest width; `beyond`: label of the tissue that
    lies outside the ligament in that cell, uint8. `rows`: number of rows along the canal, each `step` high; `bore` (rows,): radius of
    the round canal of equal area; `below` (rows,): half of the least width, which instruments must pass.
    `origin`, `frame`: world point p = origin + (x, y, z) @ frame. `ligament`: its thickness.
    """

    space: Space
    canal: Single
    root: Single
    own: Single
    station: Single
    radius: Single
    angle: Single
    beyond: NDArray[np.uint8]
    rows: int
    step: float
    bore: Array
    origin: Array
    frame: Array
    ligament: float
    name: str = "root"

    def __post_init__(self) -> None:
        for value in vars(self).values():
            if isinstance(value, np.ndarray):
                value.setflags(write=False)

    @property
    def labels(self) -> NDArray[np.uint8]:
        """One byte per cell: the tissue at its centre, an index into `TISSUES`."""
        out = np.array(self.beyond)
        out[(self.root < self.ligament) & (self.beyond != AIR)] = LIGAMENT
        out[self.root < 0] = CEMENTUM
        out[self.root < -CEMENTUM_THICKNESS] = DENTINE
        out[self.canal < 0] = CANAL
        return out

    @property
    def length(self) -> float:
        """Length of the canal, mm."""
        return self.rows * self.step

    def with_(self, **changes: Any) -> "Solid":
        """The same solid with other fields."""
        return replace(self, **changes)
