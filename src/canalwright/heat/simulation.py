"""`simulate`: one protocol in one canal."""

import threading

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.lumen import Lumen
from canalwright.heat import grid as grids
from canalwright.heat import program as programs
from canalwright.heat.layout import (
    ABOVE,
    APICAL,
    CENTRE,
    CONTENT,
    COOLED,
    DOSE,
    FRAMES,
    FRONT,
    NOW,
    PEAK,
    RISE,
    STAGES,
    STEPS,
    UNSET,
    Grid,
    Log,
)  # fmt: skip
from canalwright.heat.materials import Materials, Surroundings
from canalwright.heat.resolution import Resolution
from canalwright.heat.story import ActHeat, EnergyBook, HeatStory
from canalwright.protocol import Protocol

Array = NDArray[np.float64]
HOP = 0.2
"""A moving instrument goes on in hops of about this length, an arriving portion in hops twice as long, mm."""


def simulate(
    lumen: Lumen,
    protocol: Protocol,
    *,
    materials: Materials | None = None,
    surroundings: Surroundings | None = None,
    resolution: Resolution | None = None,
    until: float | None = None,
    every: float = 0.1,
    audit: bool = False,
) -> HeatStory:
    """Run a protocol in a canal and tell what happened.

    `until` [s]: stop there (default: the end of the protocol; may be later, to watch it cool). `every` [s]: least time
    between frames. `audit`: keep the energy book (slower). A protocol that places no cone starts filled, unless
    its first act is a portion. Raises ValueError for an impossible act, lumen or time.
    """
    resolution = resolution or Resolution.standard()
    run = prepare(lumen, protocol, materials or Materials(), surroundings or Surroundings.tissue(), resolution)
    until = protocol.seconds if until is None else until
    if not 0 < until < 86400:
        raise ValueError(f"the heat model runs for more than 0 s and less than a day, not {until} s")
    frames = int(until / max(every, 1e-3)) + 4 * len(protocol.acts) + 8
    log = run.go(until, every, frames, audit)
    return _story(run, log, lumen, protocol, audit)


def prepare(
    lumen: Lumen, protocol: Protocol, materials: Materials, surroundings: Surroundings, resolution: Resolution
) -> "Run":
    """A run, ready to go. Raises ValueError for an impossible act or lumen."""
    return Run(lumen, protocol, materials, surroundings, resolution)


class Run:
    """Grid, state and tables of one run."""

    def __init__(
        self, lumen: Lumen, protocol: Protocol, materials: Materials, surroundings: Surroundings, resolution: Resolution
    ) -> None:
        _check(lumen)
        programs.check(protocol)
        self.resolution = resolution
        self.grid = grids.grid(lumen, materials, surroundings, resolution)
        self.stuff = grids.stuff(materials, surroundings)
        self.tools, numbers = programs.tools(protocol, self.grid, materials.carrier_power_share)
        self.program = programs.program(protocol, numbers)
        self.cells = grids.cells(self.grid, programs.content_at_start(protocol))
        self.acts = len(protocol.acts)

    def go(self, until: float, every: float, frames: int, audit: bool, fixed_step: float = 0.0) -> Log:
        """Run the kernels."""
        from canalwright.heat.kernel_acts import run, start

        g = self.grid
        log = new_log(g, self.acts, frames)
        state = np.zeros(1, NOW)
        now = state[0]
        now["until"], now["act_end"], now["every"], now["fixed"] = until, until, every, fixed_step
        now["tolerance"], now["step"] = self.resolution.tolerance, 0.01
        now["tip"], now["top"] = g.last, g.last if self.cells.mark[CONTENT, g.first] else g.first
        now["watched"] = now["tool"] = -1
        now["audit"], now["frames"], now["hop"] = audit, frames, max(round(HOP / g.step), 1)
        start(g, self.stuff[0], self.cells)
        run(g, self.stuff[0], self.cells, self.tools, self.program, log, state)
        return log


def new_log(g: Grid, acts: int, frames: int) -> Log:
    """An empty log."""
    table, size = np.zeros((max(acts, 1), 5)), max(frames, 1)
    table[:, FRONT], table[:, RISE], table[:, APICAL], table[:, COOLED] = UNSET, -UNSET, -UNSET, UNSET
    return Log(
        np.zeros((size, 7)), np.zeros((2, size, g.nz)), np.zeros((6, g.nz)), table, np.zeros(9),
        np.zeros(4, dtype=np.int64),
    )  # fmt: skip


def _story(run: Run, log: Log, lumen: Lumen, protocol: Protocol, audit: bool) -> HeatStory:
    g, count = run.grid, int(log.count[FRAMES])
    z = np.array(lumen.z, dtype=float)
    frames = log.frames[:count]
    book = log.book
    energy = EnergyBook(*(float(book[i]) for i in (8, 0, 1, 2, 6, 7))) if audit else None
    return HeatStory(
        frames[:, 0].copy(), z, stations_of(g, z, log.lines[0, :count]), stations_of(g, z, log.lines[1, :count]),
        frames[:, 1].copy(), frames[:, 2].copy(), frames[:, 3].copy(), frames[:, 4].copy(), frames[:, 5].copy(),
        frames[:, 6].astype(np.int64),
        stations_of(g, z, log.row[PEAK]), stations_of(g, z, log.row[ABOVE]), stations_of(g, z, log.row[DOSE]),
        act_summaries(log, protocol), int(log.count[STEPS]), int(log.count[STAGES]), energy,
    )  # fmt: skip


def act_summaries(log: Log, protocol: Protocol) -> tuple[ActHeat, ...]:
    """The summaries by act; acts that were not reached are left out."""
    found = []
    for (begin, end, act), row in zip(protocol.timed(), log.acts, strict=True):
        if row[0] < UNSET / 10:
            cooled = float(row[4]) if row[4] < UNSET / 10 else float("inf")
            apical = float(row[3]) if row[3] > -UNSET / 10 else float("nan")
            found.append(ActHeat(act, begin, end, float(row[0]), float(row[1]), float(row[2]), apical, cooled))
    return tuple(found)


def stations_of(g: Grid, z: Array, rows: Array) -> Array:
    """Values by row (..., nz) at stations `z`, shape (..., n): linear between the rows' middles, constant beyond the ends."""
    centre = g.row[CENTRE, g.first : g.last]
    x = np.clip((z - centre[0]) / g.step, 0, len(centre) - 1)
    low = np.minimum(x.astype(int), len(centre) - 2)
    share, inside = x - low, rows[..., g.first : g.last]
    return np.asarray(inside[..., low] * (1 - share) + inside[..., low + 1] * share)


def _check(lumen: Lumen) -> None:
    if lumen.size < 2 or not np.all(np.diff(lumen.z) > 0):
        raise ValueError("the heat model needs a lumen of two stations or more, z growing")
    for name in ("z", "area", "wall"):
        values = getattr(lumen, name)
        if not np.all(np.isfinite(values)) or (name != "z" and np.any(values <= 0)):
            at = float(lumen.z[int(np.argmin(np.where(np.isfinite(values), values, -np.inf)))])
            raise ValueError(
                f"{name} of the lumen must be a positive number at every station (look at z = {at:.1f} mm)"
            )


def warm_up() -> threading.Thread:
    """Compile the kernels (or load them from the cache) in a background thread, which is returned."""
    thread = threading.Thread(target=_compile, name="heat-warm-up", daemon=True)
    thread.start()
    return thread


def _compile() -> None:
    from canalwright.heat.example import lumen, protocol

    simulate(lumen(), protocol(), resolution=Resolution.quick(), until=0.05)
