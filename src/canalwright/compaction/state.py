"""What is where while the protocol runs, and what each act but the press does to it.

All arrays have the draws in front: (d, n) by station, (d, k) by portal (the terminus is portal 0), (d,) totals.
Gutta-percha is counted as mass, that is as volume of the cooled material at 37 C, so that nothing is
lost when it swells and shrinks. The ledger closes: placed = inside + branches + beyond + removed.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from canalwright.compaction.branches import CELLS, advance_all
from canalwright.compaction.geometry import Mouths, Sections, cone_area
from canalwright.compaction.materials import AHEAD, SEALER_SHARE, SPEED, VISCOSITY, VOID
from canalwright.compaction.rheology import heating, specific_volume
from canalwright.protocol import Inject, Place

Array = NDArray[np.float64]
WINDOW = 1.0  # mm to either side of a portal from which sealer can come
HAND = 2.0  # N, the most that a hand puts on a cone
LAST_STROKE = 1.0  # mm of cone travel during which the final gap rules


@dataclass
class State:
    """The filling of every draw; changed in place by the acts."""

    cut: Sections
    mouths: Mouths
    material: Array
    base: float
    film: float
    gutta: Array
    sealer: Array
    soft: Array
    peak: Array
    surface: Array
    front: Array
    beyond: Array
    reach: Array
    arrived: Array
    cells: Array
    removed: Array
    removed_sealer: Array
    placed: Array
    placed_sealer: Array
    bubble: Array = field(repr=False)
    plug: Array = field(repr=False)

    @property
    def draws(self) -> int:
        """Number of draws."""
        return len(self.material)

    def by_draw(self, column: int) -> Array:
        """One property as a column (d, 1)."""
        return np.asarray(self.material[:, column : column + 1])

    def supply(self) -> tuple[Array, Array]:
        """Sealer [mm3] at the mouth of each portal (d, k), and each portal's share of every station (k, n)."""
        near = np.abs(self.cut.z[None, :] - self.mouths.z[:, None]) <= WINDOW + 1e-9
        near[0] &= self.cut.z >= self.mouths.apical + self.cut.z[0] - 1e-9
        weight = near / np.maximum(near.sum(0), 1)
        return self.by_draw(AHEAD) * np.einsum("dn,kn->dk", self.sealer, weight) * self.cut.step, weight

    def take_supply(self) -> tuple[Array, Array]:
        """Take that sealer out of the stations; what is not used is given back afterwards."""
        supply, weight = self.supply()
        self.sealer *= 1.0 - self.by_draw(AHEAD) * weight.sum(0)
        return supply, weight

    def give_back(self, left: Array, weight: Array) -> None:
        """Spread the sealer `left` (d, k) [mm3] that no portal took over the stations near them."""
        share = weight / np.maximum(weight.sum(1, keepdims=True), 1e-12)
        self.sealer += np.einsum("dk,kn->dn", left, share) / self.cut.step

    def push_terminus(self) -> None:
        """What gutta-percha has come past the cone's tip stands in the stations there; their sealer leaves the root."""
        cut, z = self.cut, self.cut.z
        low = self.mouths.apical - self.reach[:, :1] + z[0] - cut.step / 2
        below = z[None, :] < self.mouths.apical + z[0] - 1e-9
        bore = np.minimum(np.pi / 4 * self.mouths.width[:, :1] ** 2, cut.area)
        stands = np.where(below, bore * np.clip((z[None, :] + cut.step / 2 - low) / cut.step, 0.0, 1.0), 0.0)
        self.plug = np.where(below, stands, 0.0)
        over = np.maximum(self.sealer - np.maximum(cut.area - self.plug, 0.0), 0.0) * below
        self.sealer -= over
        self.beyond[:, 0] += over.sum(1) * cut.step


def empty(cut: Sections, mouths: Mouths, material: Array, base: float, film: float) -> State:
    """An empty canal at temperature `base`."""
    d, n, k = len(material), len(cut.z), len(mouths.station)
    zeros = np.zeros((d, n))
    return State(
        cut, mouths, np.ascontiguousarray(material), base, film,
        gutta=zeros.copy(), sealer=zeros.copy(), soft=np.repeat(heating(base, material.T)[:, None], n, 1),
        peak=np.full((d, n), base), surface=np.full(d, cut.z[-1]),
        front=np.zeros((d, k)), beyond=np.zeros((d, k)), reach=np.zeros((d, k)),
        arrived=np.full((d, k, CELLS), -1.0), cells=np.zeros((d, k, CELLS)),
        removed=np.zeros(d), removed_sealer=np.zeros(d), placed=np.zeros(d), placed_sealer=np.zeros(d),
        bubble=zeros.copy(), plug=zeros.copy(),
    )  # fmt: skip


def place(state: State, act: Place, sealed: bool) -> None:
    """Seat the cone: sealer fills the space ahead of it, a share of that beside it, and is driven into the branches.

    Pressure of the seating cone: annular flow of the displaced sealer, dp/dz = 12 eta v A_cone / (pi D h^3), at most
    what a hand puts on a cone; it lasts for the last millimetre of travel. What enters comes from the surplus that the
    cone displaces, not from the film that stays.
    """
    cut, step = state.cut, state.cut.step
    cone = np.broadcast_to(cone_area(act.cone, act.tip, cut), state.gutta.shape)
    volume = specific_volume(state.base, state.soft, state.material.T[:, :, None])
    state.gutta[:] = cone / volume
    gap = np.maximum(cut.area - cone, 0.0)
    if sealed:
        beside = np.maximum(state.by_draw(SEALER_SHARE) * gap, np.minimum(gap, state.film * cut.perimeter))
        state.sealer[:] = np.where(cut.z < act.tip, gap, beside)
    state.placed = state.gutta.sum(1) * step
    state.placed_sealer = state.sealer.sum(1) * step
    if not sealed:
        return
    supply, _ = state.supply()
    given, where = supply.copy(), state.mouths
    advance_all(
        seating_pressure(state, act), LAST_STROKE / state.material[:, SPEED], where.station, state.front, state.beyond,
        supply, where.path, where.width, state.material[:, VISCOSITY],
    )  # fmt: skip
    state.placed_sealer = state.placed_sealer + (given - supply).sum(1)


def seating_pressure(state: State, act: Place) -> Array:
    """Pressure in the sealer beside a cone on its last millimetre, shape (d, n), MPa."""
    cut = state.cut
    cone = np.broadcast_to(cone_area(act.cone, act.tip, cut), state.gutta.shape)
    width = np.maximum((cut.equivalent - 2 * np.sqrt(cone / np.pi)) / 2, state.film)
    slope = 12 * state.by_draw(VISCOSITY) * state.by_draw(SPEED) * cone / (np.pi * cut.equivalent * width**3)
    slope = np.where(cut.z >= act.tip, slope, 0.0) * state.by_draw(SEALER_SHARE)
    hand = HAND / np.maximum(cone.max(1, keepdims=True), 0.1)
    return np.asarray(np.minimum(np.cumsum(slope[:, ::-1], 1)[:, ::-1] * cut.step, hand))


def cut_off(state: State, level: float) -> None:
    """Take away all that lies above `level` (sear and bite)."""
    above = state.cut.z > level + 1e-9
    state.removed += state.gutta[:, above].sum(1) * state.cut.step
    state.removed_sealer += state.sealer[:, above].sum(1) * state.cut.step
    state.gutta[:, above] = 0.0
    state.bubble[:, above] = 0.0
    state.sealer[:, above] = 0.0
    state.surface = np.minimum(state.surface, level)


def inject(state: State, act: Inject) -> Array:
    """Lay a portion from the surface up to `act.top`; returns its volume at delivery, (d,), mm3."""
    cut = state.cut
    where = (cut.z[None, :] <= act.top + 1e-9) & (
        cut.z[None, :] > np.minimum(state.surface, act.bottom)[:, None] - 1e-9
    )
    volume = specific_volume(act.temperature, np.ones_like(state.soft), state.material.T[:, :, None])
    here = specific_volume(state.base, state.soft, state.material.T[:, :, None])
    free = np.where(where, np.maximum(cut.area - state.gutta * here - state.sealer, 0.0), 0.0)
    added = free * (1.0 - state.by_draw(VOID)) / volume
    state.soft = np.where(added > state.gutta, 1.0, state.soft)
    state.gutta += added
    state.bubble += free * state.by_draw(VOID)
    state.peak = np.where(added > 0, np.maximum(state.peak, act.temperature), state.peak)
    state.placed += added.sum(1) * cut.step
    state.surface = np.maximum(state.surface, act.top)
    return np.asarray((added * volume).sum(1) * cut.step)
