"""Plays a protocol act by act: lets heat and cooling pass, presses, and keeps the record."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.lumen import Portal
from canalwright.compaction import kernel
from canalwright.compaction.materials import BIND, FORCE, STRENGTH
from canalwright.compaction.pressure import binding
from canalwright.compaction.result import CompactionStory, Event
from canalwright.compaction.rheology import yield_stress
from canalwright.compaction.root import stress_under_press
from canalwright.compaction.shrinkage import PortionStory, PressStory, contraction, hold_needed
from canalwright.compaction.state import State, cut_off, inject, place
from canalwright.compaction.voids import Ledger, fill
from canalwright.protocol import Act, Bite, Heat, Inject, Place, Press, Protocol, Sear
from canalwright.protocol.acts import TOUCH

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
PRESS_STEP, REST_STEP = 0.25, 0.5  # s, least time between steps of the kernels
HOTTEST_WALL = 100.0  # deg C, what the wall of the canal can have had beside a carrier


class Player:
    """One run through the protocol: state, recorder and the acts."""

    def __init__(
        self, state: State, time: Array, axis: Array, surface: Array, protocol: Protocol, portals: tuple[Portal, ...],
        sealed: bool,
    ) -> None:  # fmt: skip
        self.state, self.time, self.axis, self.surface = state, time, axis, surface
        self.protocol, self.portals, self.sealed = protocol, portals, sealed
        t, n, k = len(time), len(state.cut.z), len(state.mouths.station)
        self.trace = np.zeros((t, n))
        self.trace_sealer, self.trace_gutta = np.full((t, k), np.nan), np.full((t, k), np.nan)
        self.sections: list[tuple[int, Array, Array]] = []
        self.beyond: list[tuple[int, float]] = []
        self.events: list[Event] = []
        self.presses: list[PressStory] = []
        self.portions: list[_Portion] = []
        self.stress = np.zeros((state.draws, n))

    def play(self) -> CompactionStory:
        """Run every act and gather the results."""
        acts = list(self.protocol.timed())
        for index, (begin, end, act) in enumerate(acts):
            j0, j1 = self._index(begin), self._index(end)
            if isinstance(act, Press):
                self._press(act, begin, end, j0, j1, acts[index + 1 :])
            else:
                self._other(act, begin, j0)
                self._rest(j0, j1)
            self._record(j1)
        self._rest(self._index(acts[-1][1]), len(self.time) - 1)
        return self._story()

    def _index(self, moment: float) -> int:
        return min(int(np.searchsorted(self.time, moment - 1e-6)), len(self.time) - 1)

    def _steps(self, j0: int, j1: int, least: float) -> NDArray[np.int64]:
        """Time indices after j0 up to j1, at least `least` s apart, the last one included."""
        steps, last = [], self.time[j0]
        for j in range(j0 + 1, j1 + 1):
            if self.time[j] - last >= least - 1e-9 or j == j1:
                steps.append(j)
                last = self.time[j]
        return np.array(steps, dtype=np.int64)

    def _rest(self, j0: int, j1: int) -> None:
        steps = self._steps(j0, j1, REST_STEP)
        if len(steps):
            s = self.state
            kernel.rest(steps, self.axis, s.base, s.soft, s.peak, s.material)

    def _other(self, act: Act, begin: float, j0: int) -> None:
        state = self.state
        if isinstance(act, Place):
            place(state, act, self.sealed)
            self.events.append(Event(begin, act.tip, "cone seated"))
            self._record(j0)
        elif isinstance(act, Sear | Bite):
            cut_off(state, act.level)
            self.events.append(Event(begin, act.level, "seared off" if isinstance(act, Sear) else "bite removed"))
        elif isinstance(act, Inject):
            before = state.gutta.copy()
            volume = inject(state, act)
            self.portions.append(_Portion(act, volume, state.gutta > before))
            self.events.append(Event(begin, act.top, "portion injected"))
        elif isinstance(act, Heat):
            self.events.append(Event(begin, act.stop, "heat"))

    def _press(
        self, act: Press, begin: float, end: float, j0: int, j1: int, later: list[tuple[float, float, Act]]
    ) -> None:
        state, cut, where = self.state, self.state.cut, self.state.mouths
        steps = self._steps(j0, j1, PRESS_STEP)
        if not len(steps):
            return
        binds = binding(act.plugger, act.stop, cut.z, cut.minor[0])
        face = float(np.pi / 4 * act.plugger.profile.tip**2)
        level = np.minimum(act.stop, state.surface)
        tip = np.clip(np.round((level - cut.z[0]) / cut.step).astype(np.int64), 1, len(cut.z) - 1)
        sunk = np.maximum(state.surface - act.stop, 0.0)
        meets = act.stop <= state.surface + TOUCH
        material = state.material.copy()
        material[~meets, FORCE] = 0.0
        supply, weight = state.take_supply()
        mass = state.gutta.copy()
        peak, on_wall, fed = np.zeros_like(mass), np.zeros_like(mass), np.zeros_like(mass)
        drawn, slipped = np.zeros(state.draws), np.zeros(state.draws)
        cooling = self._steps_until_heat(j0, later)
        needed, loss = hold_needed(
            self.time, cooling, self.axis, state.base, state.soft, state.material, int(tip.max())
        )  # fmt: skip
        kernel.press(
            self.time, steps, self.axis, self.surface, state.base, material, cut.step, cut.hydraulic, cut.minor,
            cut.major, cut.area, cut.perimeter, state.film, act.force, face, sunk, bool(binds.any()), tip, state.soft,
            np.minimum(state.peak, HOTTEST_WALL), state.gutta, state.sealer, where.station, where.length, where.path,
            where.most, where.slot, where.width, where.cone_tip, state.front, state.beyond, supply, state.reach, state.arrived,
            state.cells, peak, on_wall, fed, drawn, state.removed_sealer, slipped, self.trace, self.trace_sealer,
            self.trace_gutta,
        )  # fmt: skip
        state.give_back(supply, weight)
        state.peak[:] = state.base
        surface, beside = kernel.settle(tip, cut.area, face, cut.step, state.gutta, drawn, state.removed)
        state.surface = np.minimum(cut.z[surface], level)
        kernel.spill(state.gutta, state.sealer, cut.area, cut.step, state.removed_sealer)
        state.push_terminus()
        force = act.force * state.material[:, FORCE] * state.material[:, BIND]
        found = stress_under_press(cut, act.plugger, on_wall, binds, force)
        self.stress = np.maximum(self.stress, found)
        total = mass * loss
        taken = np.clip(np.divide(fed, total, out=np.ones_like(fed), where=total > 1e-9), 0.0, 1.0)
        yields = yield_stress(state.soft, state.material.T[:, :, None])
        under = np.take_along_axis(peak, tip[:, None], 1)[:, 0]
        self.presses.append(
            PressStory(
                act, begin, end, state.surface, under, slipped, beside, loss, taken, needed, peak >= 2 * yields, binds
            )
        )  # fmt: skip
        self._press_events(begin, act, binds, bool(meets[0]), float(beside[0]), float(slipped[0]))

    def _steps_until_heat(self, j0: int, later: list[tuple[float, float, Act]]) -> NDArray[np.int64]:
        """Time indices from j0 until the next heat or portion (or the end), ever wider apart, as cooling slows down."""
        stop = next((begin for begin, _, act in later if isinstance(act, Heat | Inject)), self.time[-1])
        last = max(self._index(stop), min(j0 + 1, len(self.time) - 1))
        span = float(self.time[last] - self.time[j0])
        wanted = self.time[j0] + np.concatenate([np.arange(0.0, 4.0, 0.5), np.geomspace(4.0, max(span, 4.1), 16)])
        return np.unique(np.minimum(np.searchsorted(self.time, wanted), last)).astype(np.int64)

    def _press_events(self, begin: float, act: Press, binds: Mask, meets: bool, beside: float, slipped: float) -> None:
        self.events.append(
            Event(begin, act.stop, "press" if meets else "plugger stops above the filling: nothing is pressed")
        )
        if binds.any():
            level = float(self.state.cut.z[np.argmax(binds)])
            self.events.append(Event(begin, level, "plugger binds: it wedges the root and presses less"))
        if slipped > 0.5 and beside > 0.02:
            self.events.append(Event(begin, act.stop, f"gutta-percha slips past the plugger, {beside:.2f} mm3"))

    def _record(self, j: int) -> None:
        s = self.state
        self.sections.append((j, s.gutta[0] + s.plug[0], s.sealer[0].copy()))
        self.beyond.append((j, float(s.beyond[0].sum())))

    def _story(self) -> CompactionStory:
        s, cut = self.state, self.state.cut
        gutta, sealer = _held(len(self.time), self.sections, cut.area[0])
        steps, beyond = zip(*self.beyond, strict=True)
        return CompactionStory(
            time=self.time,
            z=cut.z,
            pressure=self.trace,
            gutta=gutta,
            sealer=sealer,
            void=np.clip(1.0 - gutta - sealer, 0.0, 1.0),
            portal_sealer=_forward(self.trace_sealer),
            portal_gutta=_forward(self.trace_gutta),
            sealer_beyond=np.interp(np.arange(len(self.time)), np.array(steps), np.array(beyond)),
            events=tuple(self.events),
            portals=self.portals,
            fill=fill(cut.z, cut.area, s.gutta + s.plug, s.sealer, s.surface, s.bubble, cut.perimeter),
            sealer_length=s.front,
            gutta_length=s.reach,
            branch_length=s.mouths.length,
            puff=s.beyond,
            wall_stress=self.stress,
            strength=s.material[:, STRENGTH],
            presses=tuple(self.presses),
            portions=tuple(p.story(s) for p in self.portions),
            ledger=_ledger(s),
        )


@dataclass(frozen=True)
class _Portion:
    """A portion while the protocol runs: its volume at delivery and the stations (d, n) where it lies."""

    act: Inject
    volume: Array
    where: Mask

    def story(self, state: State) -> PortionStory:
        lost = self.volume * contraction(self.act.temperature, state.material)
        below = self.where & (state.cut.z[None, :] < state.surface[:, None] - 1e-9)
        empty = np.maximum(state.cut.area - state.gutta - state.sealer - state.bubble, 0.0)
        gap = np.minimum(np.where(below, empty, 0.0).sum(1) * state.cut.step, lost)
        return PortionStory(self.act, self.volume, lost, lost - gap, gap)


def _held(t: int, records: list[tuple[int, Array, Array]], area: Array) -> tuple[Array, Array]:
    """Shares of the section over time, each record holding until the next."""
    at = np.searchsorted([j for j, _, _ in records], np.arange(t), side="right") - 1
    rows = np.maximum(at, 0)
    gutta = np.array([g for _, g, _ in records]) / area
    sealer = np.array([s for _, _, s in records]) / area
    return gutta[rows], sealer[rows]


def _forward(trace: Array) -> Array:
    """Carry the last known row forward over rows that were not visited."""
    known = np.isfinite(trace[:, 0])
    rows = np.maximum.accumulate(np.where(known, np.arange(len(trace)), -1))
    return np.where(rows[:, None] >= 0, trace[np.maximum(rows, 0)], 0.0)


def _ledger(s: State) -> Ledger:
    bore = np.pi / 4 * s.mouths.width**2
    inside = (s.gutta.sum(1) + s.plug.sum(1)) * s.cut.step
    past = np.maximum(s.reach[:, 0] * bore[:, 0] - s.plug.sum(1) * s.cut.step, 0.0)
    ahead = np.maximum(s.front - s.reach, 0.0) * bore
    return Ledger(
        s.placed, inside, (s.reach * bore)[:, 1:].sum(1), past, s.removed,
        s.placed_sealer, s.sealer.sum(1) * s.cut.step, ahead.sum(1), s.beyond.sum(1), s.removed_sealer,
    )  # fmt: skip
