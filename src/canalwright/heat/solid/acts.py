"""The acts of a protocol in the solid root, one after the other: the same as in the (r, z) model, on the same table of numbers."""

from collections.abc import Callable
from contextlib import nullcontext
from threading import Lock
from typing import Any

import numpy as np
from scipy.spatial import cKDTree

from canalwright.heat.kernel_acts import AFTER_SWITCH
from canalwright.heat.kernel_phase import molten_on_cooling, molten_on_heating
from canalwright.heat.kernel_step import melt_row
from canalwright.heat.layout import (
    ACTIVE,
    BEGIN,
    BITE,
    EMPTY,
    END,
    FILLED,
    HEAT,
    INJECT,
    KIND,
    LEVEL,
    MOTION,
    PLACE,
    PRESS,
    SEALER,
    SEAR,
    TEMPERATURE,
    TOOL,
    TOP,
    Tools,
)  # fmt: skip
from canalwright.heat.solid.book import Note, heat_in
from canalwright.heat.solid.instrument import body_of, faded, lay, leave, settle
from canalwright.heat.solid.kernel_base import INVERSE, STORED, Y0, Frames, Log, Surface
from canalwright.heat.solid.space import Array
from canalwright.heat.solid.state import State

ONE_AT_A_TIME = Lock()
"""Runs spread over all cores take turns: not every threading layer of numba bears two at once."""


class Acts:
    """A run under way: state, instrument, clock."""

    def __init__(
        self, state: State, tools: Tools, surface: Surface, frames: Frames, log: Log, stuff: Any, record: Any, hop: int,
        wide: bool | None,
    ) -> None:  # fmt: skip
        self.state, self.tools, self.surface, self.frames, self.log = state, tools, surface, frames, log
        self.stuff, self.s, self.record, self.now = stuff, stuff[0], record, record[0]
        self.hop, self.wide, self.rod, self.tool, self.tip, self.top = (
            hop,
            wide,
            state.no_rod(),
            -1,
            state.solid.rows,
            0,
        )
        self.last: dict[int, tuple[float, Array]] = {}
        self._above: Any = None

    def run(self, program: Array, until: float, step: Callable[[float], None]) -> None:
        """All acts, then what remains until `until`; `step` hears the share of the time after each."""
        now, before = self.now, self.energy()
        self.top = int(now["top"])
        for index, act in enumerate(program):
            if act[BEGIN] >= until:
                break
            now["act"], now["act_end"] = index, min(act[END], until)
            if self.tool >= 0 and act[KIND] != BITE:
                self.take_out()
            if act[KIND] in (HEAT, INJECT):
                now["watched"] = -1
            elif act[KIND] == PRESS:
                now["watched"], now["watched_since"] = index, act[BEGIN]
            self._do(act)
            self.go(act[END])
            step(min(float(now["time"]) / until, 1.0))
        if self.tool >= 0:
            self.take_out()
        now["act_end"] = until
        self.go(until)
        self.log.book[STORED] = self.energy() - before

    def _do(self, act: Array) -> None:
        if act[KIND] == PLACE:
            self.place(act[LEVEL])
        elif act[KIND] == INJECT:
            self.inject(act)
        elif act[KIND] == BITE:
            self.bite(act)
        elif act[KIND] in (SEAR, HEAT, PRESS):
            self.use(act)

    def row(self, level: float) -> int:
        """First row above a level."""
        return int(min(max(round(level / self.state.solid.step), 1), self.state.solid.rows))

    def go(self, end: float) -> None:
        """March to `end` after a switch."""
        now = self.now
        now["end"] = min(end, now["until"])
        if now["end"] - now["time"] > 1e-9:
            now["step"] = min(now["step"], AFTER_SWITCH)
            self.march()

    def march(self) -> None:
        """March with the instrument as it is."""
        from canalwright.heat.solid.kernel_march import march

        now, st = self.now, self.state
        now["tool"], now["tip"], now["top"] = self.tool, self.tip, self.top
        with ONE_AT_A_TIME if self.wide else nullcontext():
            march(st.field, st.melt, self.rod, self.surface, self.frames, self.stuff, self.log, self.record, self.wide)

    def use(self, act: Array) -> None:
        """Sear, heat or press: bring the instrument in, move it to its stop, and hold it there."""
        level, now = self.row(act[LEVEL]), self.now
        with self.noted():
            if act[KIND] == SEAR:
                self.clear(level)
            begin = max(self.top, level)
            self.insert(int(act[TOOL]), begin)
        now["on"], now["target"] = int(act[KIND] != PRESS), act[TEMPERATURE] + self.s["offset"] - self.s["body"]
        self.plunge(begin - level, act[MOTION])
        if act[KIND] == HEAT:
            self.go(act[BEGIN] + act[ACTIVE])
            now["on"] = 0
        self.go(act[END])
        if act[KIND] != HEAT:
            self.take_out()

    def insert(self, tool: int, tip: int) -> None:
        """Bring an instrument in; since its last use it has drifted to the room's temperature."""
        power, s = float(self.tools.power[tool, 0]), self.s
        radii = self.tools.radius[tool]
        rest = float(s["room"] if power > 0 else s["plugger"])
        start = np.full(self.state.nodes, rest)
        if tool in self.last:
            since, t = self.last[tool]
            start = faded(self.state, radii, t, rest, float(self.now["time"]) - since)
        heated, sensor = self.tools.place[tool]
        self.now["power"], self.now["heated"], self.now["sensor"] = power, heated, sensor
        self.tool, self.tip = tool, tip
        if power == 0:
            self.top = min(self.top, tip)
        self.rod = lay(self.state, body_of(self.state, radii, start), radii, tip, min(tip, self.state.solid.rows - 1))

    def plunge(self, rows: int, seconds: float) -> None:
        """Move the instrument down in hops."""
        now = self.now
        begin, done, cold = float(now["time"]), 0, self.tools.power[self.tool, 0] == 0
        now["step"] = min(now["step"], AFTER_SWITCH)
        while done < rows:
            hop = 1 if cold else min(self.hop, rows - done)
            now["end"] = min(begin + seconds * (done + 0.5 * hop) / rows, now["until"])
            if now["end"] - now["time"] > 1e-9:
                self.march()
            with self.noted():
                if cold:
                    self.press_down()
                self.tip -= hop
                if cold:
                    self.top = min(self.top, self.tip)
                self.rod = lay(self.state, self.rod, self.tools.radius[self.tool], self.tip, self.tip)
            done += hop
        now["end"] = min(begin + seconds, now["until"])
        if now["end"] - now["time"] > 1e-9:
            self.march()

    def take_out(self, level: int | None = None) -> None:
        """Take the instrument out, and with it the gutta-percha from row `level` up."""
        with self.noted():
            self.last[self.tool] = float(self.now["time"]), self.rod.t[Y0].copy()
            self.tool, self.now["on"] = -1, 0
            if level is not None:
                self.empty_from(level)
            self.rod = leave(self.state, min(self.tip, self.state.solid.rows if level is None else level))
            self.tip = self.state.solid.rows

    def bite(self, act: Array) -> None:
        """A last burst of heat, then the carrier comes out with the gutta-percha above the level."""
        if self.tool >= 0 and act[MOTION] > 0:
            self.now["on"], self.now["target"] = 1, act[TEMPERATURE] + self.s["offset"] - self.s["body"]
            self.go(act[BEGIN] + act[MOTION])
        level = self.row(act[LEVEL])
        if self.tool >= 0:
            self.take_out(level)
        else:
            with self.noted():
                self.clear(level)

    def clear(self, level: int) -> None:
        """Gutta-percha from row `level` up is gone."""
        self.empty_from(level)
        self.state.set_rows(level, self.state.solid.rows)
        settle(self.state)

    def empty_from(self, level: int) -> None:
        """Rows from `level` up become empty canal."""
        self.state.content[level:] = EMPTY
        self.top = min(self.top, level)

    def place(self, tip: float) -> None:
        """Cone and sealer at room temperature: gutta-percha above `tip`, sealer beneath."""
        rows, edge = self.state.solid.rows, round(tip / self.state.solid.step)
        with self.noted():
            self.state.content[:] = np.where(np.arange(rows) >= edge, FILLED, SEALER)
            self.fill(0, rows, float(self.s["room"]), 0.0)
            self.top = rows

    def inject(self, act: Array) -> None:
        """Gutta-percha arrives hot, in hops, from the bottom of the portion (what is filled stays) to its top."""
        now, s = self.now, self.s
        begin, bottom, top = float(now["time"]), self.row(act[LEVEL]), self.row(act[TOP])
        t, rows, done = act[TEMPERATURE] - s["body"], top - bottom, 0
        molten = max(molten_on_heating(s, t), molten_on_cooling(s, t))
        now["step"] = min(now["step"], AFTER_SWITCH)
        while done < rows:
            now["end"] = min(begin + (act[END] - act[BEGIN]) * done / rows, now["until"])
            if now["end"] - now["time"] > 1e-9:
                self.march()
            hop = min(2 * self.hop, rows - done)
            with self.noted():
                for j in range(bottom + done, bottom + done + hop):
                    if self.state.content[j] == EMPTY:
                        self.state.content[j] = FILLED
                        self.fill(j, j + 1, t, molten)
                        self.top = max(self.top, j + 1)
            done += hop

    def fill(self, low: int, high: int, t: float, molten: float) -> None:
        """New content of rows low..high - 1 at temperature `t` mixes with the dentine that shares its cells, by enthalpy."""
        st, s = self.state, self.s
        st.set_rows(low, high)
        k = st.cells_of(low, high)
        cells = st.fixed.cells[k]
        own = (
            st.fixed.volume[k] * st.fixed.share[k] * np.where(st.content[st.row[k]] == FILLED, s["c_gp"], s["c_sealer"])
        )
        part = own * st.field.g[INVERSE, cells]
        latent = st.melt.latent[k]
        u = (1 - part) * st.t[cells] + part * t + latent * molten
        new = np.empty(len(k))
        melt_row(s, u, latent, np.full(len(k), molten), new)
        st.t[cells] = new
        st.melt.molten[k] = np.where(latent > 0, np.clip((u - new) / np.maximum(latent, 1e-9), 0, 1), 0.0)
        st.melt.e[0, k] = np.where(latent > 0, u - new, 0.0)
        settle(st)

    def press_down(self) -> None:
        """The soft column beneath the plugger shortens by one row: its temperatures move down in proportion."""
        st, top = self.state, self.top
        front = top
        while front > 1 and self.soft(front - 1):
            front -= 1
        rows = top - front
        if rows >= 2:
            above = self.above()
            k = st.cells_of(front, top - 1)
            up, j = above[k], st.row[k]
            good = (
                (up >= 0)
                & (st.fixed.share[k] > 0.99)
                & (st.fixed.share[np.maximum(up, 0)] > 0.99)
                & (st.row[up] == j + 1)
            )
            k, up, j = k[good], up[good], j[good]
            w = np.clip((j + 0.5 - front) * rows / (rows - 1.0) - 0.5 - (j - front), 0.0, 1.0)
            cells, ups = st.fixed.cells[k], st.fixed.cells[up]
            t, molten = (1 - w) * st.t[cells] + w * st.t[ups], (1 - w) * st.melt.molten[k] + w * st.melt.molten[up]
            st.t[cells], st.melt.molten[k] = t, molten
            settle(st)
        st.content[top - 1] = EMPTY

    def above(self) -> Any:
        """The canal cell one row above each, at the same place in the section (-1: none)."""
        if self._above is None:
            st = self.state
            angle = st.solid.angle.ravel()[st.fixed.cells].astype(float)
            place = np.column_stack([st.beside * np.cos(angle), st.beside * np.sin(angle), st.along])
            away, near = cKDTree(place).query(place + [0.0, 0.0, st.solid.step])
            self._above = np.where(away < 0.6 * st.solid.step + 0.05, near, -1)
        return self._above

    def soft(self, row: int) -> bool:
        """True when the gutta-percha of a row is molten enough to move."""
        k = self.state.cells_of(row, row + 1)
        weight = self.state.melt.weight[k]
        return bool(weight.sum() > 0 and (weight * self.state.melt.molten[k]).sum() >= self.s["soft"] * weight.sum())

    def noted(self) -> Note:
        """Notes the heat that comes or goes with matter, where the book is kept."""
        return Note(self.energy, self.log.book, bool(self.now["audit"]))

    def energy(self) -> float:
        """Heat in the cells, and in the instrument while it is in the canal, J, above body temperature."""
        return heat_in(self.state, self.rod if self.tool >= 0 else None)
