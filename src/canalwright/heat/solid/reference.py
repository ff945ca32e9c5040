"""The reference problem of the (r, z) model in three dimensions, for timing and for comparison with general-purpose libraries.

See `canalwright.heat.reference`: the same canal, tissues, borders and carrier, on cells in a box of 11.6 x 11.6 x 16 mm.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.interpolate import CubicSpline

from canalwright.heat import grid as grids
from canalwright.heat.layout import FILLED
from canalwright.heat.materials import Surroundings
from canalwright.heat.reference import (
    BELOW,
    CARRIER,
    END,
    EVERY,
    HOT,
    LENGTH,
    LIGAMENT,
    ON,
    OUTER,
    ROOT,
    TIP,
    materials,
)
from canalwright.heat.solid.conduct import Fixed, fixed
from canalwright.heat.solid.instrument import body_of, lay
from canalwright.heat.solid.kernel_base import NOW, STAGES, STEPS, Y0, Frames, Log, Rod
from canalwright.heat.solid.root_surface import points
from canalwright.heat.solid.space import Array, Space, axis
from canalwright.heat.solid.state import State
from canalwright.heat.solid.straight import straight
from canalwright.heat.solid.tissue import Solid


@dataclass(frozen=True)
class ReferenceB:
    """As `ReferenceA`: `time` (120,), `surface` (120,), `axis` (120, 5); and the number of `cells`."""

    time: Array
    surface: Array
    axis: Array
    steps: int
    stages: int
    cells: int


def space_b(
    voxel: float = 0.05,
    along: float = 0.05,
    growth: float = 1.4,
    widest: float = 0.3,
    most: float = 1.0,
    core: float = 0.4,
    above: float = 0.2,
    under: float = 0.2,
) -> Space:
    """Cells of `voxel` across and `along` near carrier and canal, growing by `growth`; growth 1: equal cells throughout."""
    if growth == 1.0:
        side = axis(-OUTER, OUTER, -OUTER, OUTER, voxel, 1.0)
        z = axis(0.0, LENGTH, 0.0, LENGTH, along, 1.0)
        return Space(side, side, z)
    side = axis(-core, core, -OUTER, OUTER, voxel, growth, root=(-LIGAMENT, LIGAMENT), widest=widest, most=most)
    z = axis(
        TIP - under, TIP + above, 0.0, LENGTH, along, growth, widest=max(2 * widest, along), most=max(2 * widest, along)
    )
    return Space(side, side, z)


def problem_b(
    space: Space | None = None,
    tolerance: float = 0.2,
    fixed_step: float = 0.0,
    end: float = END,
    wide: bool | None = None,
) -> ReferenceB:
    """Solve the problem on the cells of `space`; `wide`: on all cores (worth it for a million cells on an idle machine)."""
    from canalwright.heat.solid.kernel_march import march

    space = space or space_b()
    state, rod, radii, stuff = _system(space)
    s, solid, shape = state.s, state.solid, state.solid.space.shape
    tip, surface = round(TIP / solid.step), points(solid, s)
    log = Log(np.full((1, 5), -1e30), np.zeros(9), np.zeros(4, np.int64))
    none = Frames(np.zeros(0, np.int64), np.zeros((0, 0), np.float32), np.zeros((0, 0), np.float32), np.zeros((0, 6)))
    run = np.zeros(1, NOW)
    now = run[0]
    now["step"], now["tolerance"], now["fixed"], now["slowest"] = 1e-3, tolerance, fixed_step, 1e9
    now["watched"], now["tool"], now["top"] = -1, 0, solid.rows
    marks = [m for m in _marks() if m <= end + 1e-9]
    along = np.zeros((len(marks), 1 + len(BELOW)))
    read = _reader(space, TIP - np.asarray(BELOW))
    for i, mark in enumerate(marks):
        now["end"] = mark
        march(state.field, state.melt, rod, surface, none, stuff, log, run, wide)
        t = state.field.y[Y0]
        along[i, 0] = np.max(surface.weight * t[surface.a] + (1 - surface.weight) * t[surface.b])
        along[i, 1:] = read(t.reshape(shape))
        if abs(mark - ON) < 1e-9:
            s["contact"], now["step"] = 0.0, 1e-3
            rod = lay(state, rod, radii, tip, tip)
    time = EVERY * (1 + np.arange(round(end / EVERY)))
    values = np.asarray(CubicSpline(marks, along, axis=0)(time))
    return ReferenceB(
        time, values[:, 0] + 37.0, values[:, 1:] + 37.0, int(log.count[STEPS]), int(log.count[STAGES]), space.size
    )


def cells_b(space: Space) -> State:
    """The cells as they are while the carrier is hot: for comparison with other ways to solve the same equations."""
    return _system(space)[0]


def _system(space: Space) -> tuple[State, Rod, Array, Any]:
    m, step = materials(), float(np.diff(space.z).min())
    stuff = grids.stuff(m, Surroundings.tissue())
    stuff["open_top"] = 1.0
    solid = straight(
        space, LENGTH, step, lambda z: 0.20 + 0.55 * z / LENGTH, lambda z: ROOT + 0 * z, LIGAMENT - ROOT, foot=False
    )
    s = stuff[0]
    state = State(solid, _rimmed(solid, fixed(solid, s, m)), s, max(round((LENGTH - TIP) / step), 1), 1)
    state.content[:] = FILLED
    state.set_rows(0, solid.rows)
    state.field.y[:] = 0.0
    state.field.y[:, -state.field.plane :] = float(s["top_temperature"])
    radii = np.full(state.nodes * state.span, CARRIER)
    rod = body_of(state, radii, np.full(state.nodes, HOT - 37.0), held=True)
    tip = round(TIP / solid.step)
    return state, lay(state, rod, radii, tip, tip), radii, stuff


def _rimmed(solid: Solid, fixed: Fixed) -> Fixed:
    """The same with the cells beyond the outer radius held, and that border where it is: at its radius, not at a cell's centre."""
    g = fixed.g.reshape(5, *solid.space.shape)
    beyond = solid.radius >= OUTER
    beyond[:, :, [0, -1]] = beyond[:, [0, -1], :] = True
    for way, row in ((2, 0), (1, 1)):
        low, high = [slice(None)] * 3, [slice(None)] * 3
        low[way], high[way] = slice(None, -1), slice(1, None)
        a, b = tuple(low), tuple(high)
        cut = beyond[a] != beyond[b]
        ra, rb = solid.radius[a], solid.radius[b]
        near, far = np.minimum(ra, rb), np.maximum(ra, rb)
        part = np.clip((OUTER - near) / np.maximum(far - near, 1e-6), 0.4, 1.0)
        g[row][a] = np.where(cut, g[row][a] / part, g[row][a])
    g[3][beyond], g[4][beyond] = 0.0, 0.0
    return fixed


def _marks() -> list[float]:
    times = list(np.arange(EVERY, 8.0 + EVERY / 2, EVERY))
    while times[-1] < END:
        times.append(min(times[-1] * 1.08, END))
    return times


def _reader(space: Space, at: Array):  # type: ignore[no-untyped-def]
    """Temperatures on the axis at places `at`: from the four cells round it (or the one on it), cubic along z."""
    x, y, z = space.centres()
    i, j = np.flatnonzero(np.abs(x) < np.abs(x).min() + 1e-6), np.flatnonzero(np.abs(y) < np.abs(y).min() + 1e-6)
    r1 = float(x[i[0]] ** 2 + y[j[0]] ** 2)

    def read(t: Array) -> Array:
        inner = t[:, j[0] : j[-1] + 1, i[0] : i[-1] + 1].mean(axis=(1, 2)).astype(float)
        if r1 > 1e-12:
            ring = t[:, j[0] : j[-1] + 1, i[-1] + 1].mean(axis=1).astype(float)
            r2 = float(x[i[-1] + 1] ** 2 + y[j[0]] ** 2)
            inner = inner + (inner - ring) * r1 / (r2 - r1)
        return np.asarray(CubicSpline(z, inner)(at))

    return read
