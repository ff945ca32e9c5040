"""The same canal filled in other ways, so that techniques can be compared in one canal.

Single cone: the cone is seated in sealer, nothing presses. Cold lateral: accessory cones and spreader then fill a share
(`lateral.packing`) of the space beside the master cone down to `short` mm above its tip, and drive the sealer once more.
Gutta-percha stays cold, so it does not shrink and does not enter branches; only sealer does.

Left out: how each accessory cone lies, the spreader's own path, setting shrinkage of the sealer.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.lumen import Lumen, Portal
from canalwright.compaction.branches import advance_all
from canalwright.compaction.geometry import mouths, sections
from canalwright.compaction.materials import PACKING, SEALER_SHARE, SPEED, VISCOSITY, portal_diameters, table
from canalwright.compaction.state import LAST_STROKE, State, empty, place, seating_pressure
from canalwright.compaction.voids import Fill, fill
from canalwright.protocol import Place
from canalwright.quantities import Reading, Sample

Array = NDArray[np.float64]
COLD = 35.0  # deg C, canal and filling


@dataclass(frozen=True)
class ColdFilling:
    """A filling done cold: `fill` by station, sealer in each portal (d, k; the terminus first) and beyond [mm, mm3]."""

    name: str
    fill: Fill
    sealer_length: Array
    branch_length: Array
    puff: Array

    def filled(self, portal: int) -> Array:
        """Share of the length of a portal that sealer fills, shape (d,); portals counted from 0."""
        return np.asarray(np.minimum(self.sealer_length[:, portal + 1] / self.branch_length[portal + 1], 1.0))


def single_cone(
    lumen: Lumen, portals: Sequence[Portal], act: Place, source: Sample | Mapping[str, Reading],
    *, film: float = 0.03, sealed: bool = True, foramen: float | None = None,
) -> ColdFilling:  # fmt: skip
    """The cone of `act` seated in sealer, and left."""
    state = _seated(lumen, portals, act, source, film, sealed, foramen)
    return _told("single cone", state)


def cold_lateral(
    lumen: Lumen, portals: Sequence[Portal], act: Place, source: Sample | Mapping[str, Reading],
    *, film: float = 0.03, sealed: bool = True, short: float = 1.0, foramen: float | None = None,
) -> ColdFilling:  # fmt: skip
    """The master cone of `act`, then accessory cones to `short` mm above its tip."""
    state = _seated(lumen, portals, act, source, film, sealed, foramen)
    cut, where = state.cut, state.mouths
    reached = cut.z >= act.tip + short - 1e-9
    gap = np.maximum(cut.area - state.gutta, 0.0)
    state.gutta += np.where(reached, state.by_draw(PACKING) * gap, 0.0)
    left = np.maximum(cut.area - state.gutta, 0.0)
    if sealed:
        share = np.where(reached, state.by_draw(SEALER_SHARE), 1.0)
        state.sealer = np.minimum(np.minimum(state.sealer, left * share), left)
        supply, _ = state.supply()
        advance_all(
            seating_pressure(state, act), LAST_STROKE / state.material[:, SPEED], where.station, state.front,
            state.beyond, supply, where.path, where.width, state.material[:, VISCOSITY],
        )  # fmt: skip
    return _told("cold lateral", state)


def _seated(
    lumen: Lumen, portals: Sequence[Portal], act: Place, source: Sample | Mapping[str, Reading], film: float, sealed: bool,
    foramen: float | None,
) -> State:  # fmt: skip
    cut = sections([lumen])
    where = mouths(portals, portal_diameters(source, portals), cut, act, foramen)
    state = empty(cut, where, table(source), COLD, film)
    place(state, act, sealed)
    state.gutta = np.minimum(state.gutta, cut.area)
    return state


def _told(name: str, state: State) -> ColdFilling:
    cut = state.cut
    filling = fill(cut.z, cut.area, state.gutta, state.sealer, state.surface + cut.step, state.bubble, cut.perimeter)
    return ColdFilling(name, filling, state.front, state.mouths.length, state.beyond)
