"""What a simulated compaction tells."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.lumen import Portal
from canalwright.compaction.shrinkage import PortionStory, PressStory
from canalwright.compaction.voids import Fill, Ledger

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Event:
    """Something that happened at `time` s at station `z` mm: `what` in words."""

    time: float
    z: float
    what: str


@dataclass(frozen=True)
class CompactionStory:
    """What the press moved, and what cooling took back. Draw 0 is the nominal one.

    Over the heat story's time `time` (t,) for draw 0: `pressure` (t, n) MPa; `gutta`, `sealer`, `void` (t, n) shares of
    the section; `portal_sealer`, `portal_gutta` (t, k) mm into each mouth, the terminus first, then the portals in order;
    `sealer_beyond` (t,) mm3. By draw: `fill` in the end, `sealer_length` and `gutta_length` (d, k) mm,
    `puff` (d, k) mm3 of sealer beyond the root, `wall_stress` (d, n) MPa (greatest under press and wedge),
    `strength` (d,), `presses`, `portions`, `ledger`.
    """

    time: Array
    z: Array
    pressure: Array
    gutta: Array
    sealer: Array
    void: Array
    portal_sealer: Array
    portal_gutta: Array
    sealer_beyond: Array
    events: tuple[Event, ...]
    portals: tuple[Portal, ...]
    fill: Fill
    sealer_length: Array
    gutta_length: Array
    branch_length: Array
    puff: Array
    wall_stress: Array
    strength: Array
    presses: tuple[PressStory, ...]
    portions: tuple[PortionStory, ...]
    ledger: Ledger

    @property
    def draws(self) -> int:
        """Number of draws, the nominal first one included."""
        return len(self.strength)

    def filled(self, portal: int) -> Array:
        """Share of the length of a portal that is filled with either, shape (d,); portals counted from 0."""
        reach = np.maximum(self.sealer_length[:, portal + 1], self.gutta_length[:, portal + 1])
        return np.asarray(np.minimum(reach / self.branch_length[portal + 1], 1.0))

    @property
    def gutta_beyond(self) -> Array:
        """Length of gutta-percha past the terminus, shape (d,), mm."""
        return np.asarray(np.maximum(self.gutta_length[:, 0] - self.branch_length[0], 0.0))

    @property
    def stress_ratio(self) -> Array:
        """Greatest stress in the wall over the strength of dentine, shape (d,)."""
        return np.asarray(self.wall_stress.max(1) / self.strength)
