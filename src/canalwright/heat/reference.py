"""A reference problem with simple borders, for timing and for comparison with general-purpose libraries.

A round canal (0.20 to 0.75 mm radius over 16 mm) of gutta-percha without latent heat in dentine to 2.5 mm, ligament to
2.75 mm, bone to 5.75 mm, perfused; all at 37 deg C, held so at the foot and outside; air at the top. A carrier of radius 0.3 mm,
its tip at 7 mm, is held at 200 deg C for 3 s and insulates afterwards. The values are constants of the benchmark, not findings.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from canalwright.heat import grid as grids
from canalwright.heat.layout import CENTRE, FILLED, NOW, STAGES, STEPS, Grid, Tools
from canalwright.heat.materials import Materials, Surroundings
from canalwright.heat.resolution import Resolution
from canalwright.heat.simulation import new_log

Array = NDArray[np.float64]
LENGTH, OUTER, ROOT, LIGAMENT = 16.0, 5.75, 2.5, 2.75
CARRIER, TIP, HOT, ON, END, EVERY = 0.3, 7.0, 200.0, 3.0, 60.0, 0.5
BELOW = (1.0, 2.0, 3.0, 4.0, 5.0)
DEFAULT = Resolution(radial=0.075, axial=0.05, growth=1.3, tolerance=0.2)


@dataclass(frozen=True)
class ReferenceA:
    """`time` (120,): every 0.5 s; `surface` (120,): greatest temperature at r = 2.5 mm; `axis` (120, 5): 1 to 5 mm below the tip."""

    time: Array
    surface: Array
    axis: Array
    steps: int
    stages: int


def materials() -> Materials:
    """The constants of the problem."""
    return Materials(
        gp_conductivity=0.155, gp_capacity=2250.0 * 1040.0, gp_latent=0.0, sealer_resistance=0.0,
        dentine_conductivity=0.60, dentine_capacity=2100.0 * 1250.0,
        ligament_conductivity=0.5, ligament_capacity=1050.0 * 3600.0, ligament_perfusion=0.0005,
        bone_conductivity=0.58, bone_capacity=1800.0 * 1400.0, bone_perfusion=0.0005,
        blood_capacity=3.8e6, top_film=10.0, mouth_temperature=25.0, contact_conductance=1e9,
    )  # fmt: skip


def problem_a(resolution: Resolution = DEFAULT, fixed_step: float = 0.0) -> ReferenceA:
    """Solve the problem; `fixed_step` [s] instead of adaptive steps, when positive."""
    from canalwright.heat.kernel_acts import start
    from canalwright.heat.kernel_reference import reference

    g, stuff = _grid(resolution), grids.stuff(materials(), Surroundings.tissue())
    stuff["open_top"] = 1.0
    c = grids.cells(g, FILLED)
    rows = g.nodes * g.span
    tools = Tools(
        np.full((1, rows), CARRIER), np.full((1, g.nodes), HOT - 37.0), np.array([[1.0, -1.0]]),
        np.zeros((1, 2), dtype=np.int64),
    )  # fmt: skip
    state = np.zeros(1, NOW)
    now = state[0]
    now["step"], now["tolerance"], now["fixed"], now["until"] = 1e-3, resolution.tolerance, fixed_step, END
    now["tool"], now["tip"], now["top"], now["watched"] = -1, g.last, g.last, -1
    log = new_log(g, 1, 0)
    marks = _marks()
    surface, axis = np.zeros((len(marks), g.nz)), np.zeros((len(marks), g.nz))
    start(g, stuff[0], c)
    tip = g.first + int(np.searchsorted(g.row[CENTRE, g.first :], TIP))
    reference(g, stuff[0], c, tools, log, state, marks, ON, tip, HOT - 37.0, surface, axis)
    time = np.asarray(EVERY * (1 + np.arange(round(END / EVERY))), dtype=np.float64)
    inside = slice(g.first, g.last)
    weights = _cubic(g.row[CENTRE, inside], TIP - np.asarray(BELOW))
    along = np.hstack([surface[:, inside], axis[:, inside] @ weights])
    along = np.asarray(CubicSpline(marks, along, axis=0)(time), dtype=np.float64)
    return ReferenceA(
        time, np.asarray(along[:, : -len(BELOW)].max(axis=1) + 37.0, dtype=np.float64), along[:, -len(BELOW) :] + 37.0,
        int(log.count[STEPS]), int(log.count[STAGES]),
    )  # fmt: skip


def _marks() -> Array:
    """Times at which the solution is taken: every 0.5 s in the first 8 s, then less often, as it changes less."""
    times = list(np.arange(EVERY, 8.0 + EVERY / 2, EVERY))
    while times[-1] < END:
        times.append(min(times[-1] * 1.08, END))
    return np.asarray(times)


def _cubic(z: Array, at: Array) -> Array:
    """Weights of cubic interpolation through the four nearest rows, shape (rows, places)."""
    weights = np.zeros((len(z), len(at)))
    for place, x in enumerate(at):
        low = int(np.clip(np.searchsorted(z, x) - 2, 0, len(z) - 4))
        near = z[low : low + 4]
        for i in range(4):
            others = np.delete(near, i)
            weights[low + i, place] = np.prod((x - others) / (near[i] - others))
    return weights


def _grid(resolution: Resolution) -> Grid:
    down, up = _growing(TIP, resolution), _growing(LENGTH - TIP, resolution)
    step, count = float(down[0]), len(down) + len(up)
    face = grids.columns(0.75, ROOT, OUTER, resolution)
    last = int(np.searchsorted(face, OUTER - 0.3 * (face[-1] - face[-2])))
    face = np.append(face[: last + 1], OUTER + 0.5)
    face[last] = OUTER
    node = np.sqrt((face[1:] ** 2 + face[:-1] ** 2) / 2)
    node[-1] = OUTER
    heights = np.concatenate([[step], down[::-1], up, [step]])
    centre = np.cumsum(heights) - heights / 2 - step
    bore = np.clip(0.20 + 0.55 * centre / LENGTH, 0.20, 0.75)
    row = np.vstack([heights, centre, bore, np.full(count + 2, ROOT), np.full(count + 2, LIGAMENT)])
    begin = np.zeros((count + 2, len(node)))
    begin[-1] = 25.0 - 37.0
    inner = min(int(np.searchsorted(face, 0.75)) + 1, len(node) - 2)
    column = np.vstack([face, np.append(node, face[-1])])
    return Grid(len(node), count + 2, 1, count + 1, inner, len(up), 1, step, column, row, begin)


def _growing(length: float, resolution: Resolution) -> Array:
    """Heights from the carrier's tip away: growing, at most a 24th of the canal's length, with the given sum."""
    heights: list[float] = []
    width = resolution.axial
    while sum(heights) + width / 2 < length:
        heights.append(width)
        width = min(width * resolution.growth, max(LENGTH / 24, resolution.axial))
    return np.asarray(heights) * (length / sum(heights))
