"""`simulate`: one protocol in one solid root."""

from collections.abc import Callable
from threading import Thread
from typing import Any

import numpy as np

from canalwright.heat import grid as grids
from canalwright.heat import program as programs
from canalwright.heat.grid import NODE, SHAFT
from canalwright.heat.kernel_log import WATCHED
from canalwright.heat.layout import FILLED, UNSET, Grid
from canalwright.heat.materials import Materials, Surroundings
from canalwright.heat.simulation import HOP
from canalwright.heat.solid.acts import Acts
from canalwright.heat.solid.conduct import fixed
from canalwright.heat.solid.kernel_base import (
    ABOVE,
    ACT,
    AT_ACT,
    AT_FRONT,
    AT_TIME,
    AT_TIP,
    AT_TIP_T,
    AT_TOP,
    BEFORE,
    BY,
    DOSE,
    LONG,
    MINUTES,
    MOST,
    NOW,
    PEAK,
    REST,
    STAGES,
    STEPS,
    TAKEN,
    WHEN,
    Frames,
    Log,
    Surface,
)  # fmt: skip
from canalwright.heat.solid.pictures import section_cells
from canalwright.heat.solid.root_surface import points, positions
from canalwright.heat.solid.space import Array
from canalwright.heat.solid.state import State
from canalwright.heat.solid.story import BoneHeat, SolidStory, SurfaceHeat
from canalwright.heat.solid.tissue import AIR, Solid
from canalwright.heat.solid.voxels import Voxels
from canalwright.heat.story import ActHeat, EnergyBook
from canalwright.instruments import Carrier
from canalwright.protocol import Protocol

WIDE_FROM = 1_500_000
"""Cells from which one run is spread over all cores; below, several runs at once use them better."""


def simulate(
    solid: Solid,
    protocol: Protocol,
    *,
    materials: Materials | None = None,
    surroundings: Surroundings | None = None,
    voxels: Voxels | None = None,
    until: float | None = None,
    every: float = 0.5,
    film: bool = False,
    audit: bool = False,
    wide: bool | None = None,
    step: Callable[[float], None] = lambda share: None,
) -> SolidStory:
    """Run a protocol in a solid root and tell what happened.

    `surroundings` must be those for which the solid was built. `until` [s]: stop there (default: the end of the protocol). `every` [s]:
    least time between pictures; `film`: keep sections and the surface in each picture. `audit`: keep the energy book (slower).
    `wide`: spread the run over all cores (default: from 1.5 million cells). `step` is told after each act what share of the time is done,
    and may raise to end the run. Raises ValueError for an impossible act or time.
    """
    m, around, cells = materials or Materials(), surroundings or Surroundings.tissue(), voxels or Voxels()
    programs.check(protocol)
    until = protocol.seconds if until is None else until
    if not 0 < until < 86400:
        raise ValueError(f"the heat model runs for more than 0 s and less than a day, not {until} s")
    if (around.film_conductance is None) == bool(np.all(solid.beyond == AIR)):
        raise ValueError("the solid was built for other surroundings: give from_lumen and simulate the same ones")
    run, stuff, numbers = _prepare(solid, protocol, m, around, cells, until, every, film, audit, wide)
    run.run(programs.program(protocol, numbers), until, step)
    return _story(run, protocol, stuff, audit)


def _prepare(
    solid: Solid, protocol: Protocol, m: Materials, around: Surroundings, cells: Voxels, until: float, every: float,
    film: bool, audit: bool, wide: bool | None,
) -> tuple[Acts, Any, dict[int, int]]:  # fmt: skip
    stuff = grids.stuff(m, around)
    s = stuff[0]
    span = max(int(NODE / solid.step), 1)
    rows = max(round(SHAFT / solid.step / span), 1)
    none = np.zeros((2, 0))
    g = Grid(0, 0, 0, solid.rows, 0, rows, span, solid.step, none, none, none)
    tools, numbers = programs.tools(protocol, g, m.carrier_power_share)
    state = State(solid, fixed(solid, s, m), s, rows, span)
    state.content[:] = programs.content_at_start(protocol)
    state.set_rows(0, solid.rows)
    state.field.y[:] = _start(solid, m, around).astype(np.float32).ravel()
    surface = points(solid, s)
    value = surface.weight * state.t[surface.a] + (1 - surface.weight) * state.t[surface.b]
    surface.value[REST], surface.value[BEFORE] = value, value
    hold = np.concatenate([state.melt.axis, section_cells(solid) if film else np.zeros(0, np.int64)])
    size = int(until / max(every, 1e-3)) + 4 * len(protocol.acts) + 8
    frames = Frames(
        hold, np.zeros((size, len(hold)), np.float32), np.zeros((size, len(surface.a) if film else 0), np.float32), np.zeros((size, 6))
    )  # fmt: skip
    acts = np.tile([UNSET, -UNSET, 0.0, -UNSET, UNSET], (max(len(protocol.acts), 1), 1))
    log = Log(acts, np.zeros(9), np.zeros(4, np.int64))
    record = np.zeros(1, NOW)
    now = record[0]
    now["step"], now["tolerance"], now["slowest"], now["every"], now["until"] = 0.01, cells.tolerance, 1e9, every, until
    now["framed"], now["watched"], now["tool"], now["audit"] = -1e9, -1, -1, audit
    now["top"] = now["front"] = solid.rows if state.content[0] == FILLED else 0
    now["near"] = round(WATCHED / solid.step)
    spread = (True if solid.space.size >= WIDE_FROM else None) if wide is None else (wide or None)
    run = Acts(state, tools, surface, frames, log, stuff, record, max(round(HOP / solid.step), 1), spread)
    return run, stuff, numbers


def _start(solid: Solid, m: Materials, around: Surroundings) -> Array:
    """Temperature at the start above body temperature: the canal's warmth, falling with the logarithm of the radius to the bone's."""
    body = m.body_temperature
    if around.film_conductance is not None:
        return np.full(solid.space.shape, around.temperature - body)
    middle = (np.arange(solid.rows) + 0.5) * solid.step
    bore = np.interp(solid.station, middle, solid.bore)
    outer = np.maximum(solid.radius - solid.own + solid.ligament, bore * 1.01)
    warmth = np.clip(np.log(outer / np.maximum(solid.radius, 1e-3)) / np.log(outer / np.maximum(bore, 1e-3)), 0.0, 1.0)
    t = np.where((solid.station >= 0) & (solid.station <= solid.length), warmth, 0.0) * (m.canal_temperature - body)
    t[(solid.station > solid.length) & (solid.own < 0)] = m.canal_temperature - body
    t[:, :, [0, -1]] = t[:, [0, -1], :] = 0.0
    t[0] = 0.0
    t[-1] = m.mouth_temperature - body
    t[(solid.beyond == AIR) & (solid.root > 0)] = m.mouth_temperature - body
    return np.asarray(t)


def _story(run: Acts, protocol: Protocol, stuff: Any, audit: bool) -> SolidStory:
    solid, body, count = run.state.solid, float(stuff[0]["body"]), int(run.log.count[TAKEN])
    moment, cells = run.frames.moment[:count], run.frames.cells[:count] + np.float32(body)
    tip = np.where(moment[:, AT_TIP] >= 0, moment[:, AT_TIP] * solid.step, np.nan)
    heated = np.array([isinstance(getattr(a, "carrier", None), Carrier) for a in protocol.acts] or [False])
    before = np.maximum(moment[:, AT_ACT].astype(int) - 1, 0)
    bite = np.array([type(a).__name__ == "Bite" for a in protocol.acts] or [False])
    at = moment[:, AT_ACT].astype(int)
    hot = heated[at] | (bite[at] & heated[before])
    book = run.log.book
    energy = EnergyBook(*(float(book[i]) for i in (8, 0, 1, 2, 6, 7))) if audit else None
    dose = run.state.field.dose.reshape(4, *solid.space.shape)
    return SolidStory(
        solid, moment[:, AT_TIME].copy(), (np.arange(solid.rows) + 0.5) * solid.step, cells[:, : solid.rows].astype(float),
        moment[:, AT_FRONT] * solid.step, moment[:, AT_TOP] * solid.step, np.where(hot, tip, np.nan),
        np.where(hot & ~np.isnan(tip), moment[:, AT_TIP_T] + body, np.nan), np.where(hot, np.nan, tip), at,
        _surface(solid, run.surface), BoneHeat(dose[MOST] + np.float32(body), dose[BY], dose[LONG], dose[MINUTES]),
        _acts(run.log, protocol, solid.step), int(run.log.count[STEPS]), int(run.log.count[STAGES]),
        cells[:, solid.rows :], run.frames.surface[:count] + np.float32(body), energy,
    )  # fmt: skip


def _surface(solid: Solid, found: Surface) -> SurfaceHeat:
    v = found.value
    place, angle = positions(solid, found)
    return SurfaceHeat(
        place, found.station, angle, np.maximum(v[PEAK], 0.0), v[WHEN], v[ACT].astype(np.int64), v[ABOVE], v[DOSE]
    )


def _acts(log: Log, protocol: Protocol, step: float) -> tuple[ActHeat, ...]:
    found = []
    for (begin, end, act), row in zip(protocol.timed(), log.acts, strict=False):
        if row[0] < UNSET / 10:
            cooled = float(row[4]) if row[4] < UNSET / 10 else float("inf")
            apical = float(row[3]) if row[3] > -UNSET / 10 else float("nan")
            found.append(ActHeat(act, begin, end, float(row[0]) * step, float(row[1]), float(row[2]), apical, cooled))
    return tuple(found)


def warm_up() -> Thread:
    """Compile the kernels (or load them from the cache) in a background thread, which is returned; a small whole filling, so
    that every act has been met."""
    thread = Thread(target=_compile, name="solid-warm-up", daemon=True)
    thread.start()
    return thread


def _compile() -> None:
    from canalwright.heat.example import lumen, protocol
    from canalwright.heat.solid.from_lumen import from_lumen

    cells = Voxels.coarse()
    simulate(from_lumen(lumen(), voxels=cells), protocol(1, 1), voxels=cells, every=1e9, wide=False)
