"""Reach: the deepest place an instrument gets to passively, and what stops it.

Rigid: a straight stack of discs; the tip is as deep as some pose (2 shifts, 2 tilts) keeps every disc inside
the lumen less the clearance (see `_rigid`). A disc in an oval section may have its centre in the largest ellipse
that is safe, semi-axes b - r and sqrt((b - r)^2 + (a^2 - b^2)(1 - r / b)): never too deep, up to a few
hundredths of mm of play given away. A fin narrower than the instrument is not counted as room.

Elastic: the axis follows the centreline smoothed by a triangle of half width w (`WINDOWS`), leaving it by e_w and
with the curvature k_w; at each station d / 2 + e_w + clearance <= minor / 2 and d k_w / 2 <= strain limit; the
best w counts, a straight pose too. Every such path is one that the instrument can take, so the reach is never too
deep; a cleverer path may get a little deeper. Both are ours: geometry, and d / (2 R) for pure bending.

Leaves out: force (all is passive), permanent pre-bends, wall roughness, an access that does not let the
instrument in. z of the tip is where the centreline crosses the plane of the tip.
Checked: a tube, a cone, a rod in an arc (sagitta), a general-purpose convex solver on random curves.
"""

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canalwright.fit.cone import rising
from canalwright.fit.passage import Passage
from canalwright.instruments import Carrier, File, Needle, Plugger, Profile

Array = NDArray[np.float64]
Tool = Plugger | Carrier | Needle | File
WINDOWS = (0.5, 1.0, 2.0, 3.0, 4.5, 6.0)
STEEL_STRAIN = 0.004
"""Elastic limit of a stainless steel needle: yield 0.8 GPa over 190 GPa (from memory)."""
FILE_STRAIN = 0.06
"""Strain up to which a superelastic file springs back (common practice 0.06 to 0.08, no source)."""
PRECISION, NEAR = 0.01, 0.1
"""Depth is searched to `PRECISION` mm; a curve that costs less than `NEAR` mm is not what stops an instrument."""
END, WIDTH, CURVE, LENGTH, ORIFICE = range(5)
_WORDS = {
    END: "end of the preparation",
    WIDTH: "width of the canal at z {:.1f} mm",
    CURVE: "curve of the canal at z {:.1f} mm",
    LENGTH: "length of the instrument",
    ORIFICE: "too wide for the orifice",
}


@dataclass(frozen=True)
class Reach:
    """Per draw, shape (d,): z of the tip; what stops it (`END`, `WIDTH`, `CURVE`, `LENGTH`, `ORIFICE`); z of that."""

    z: Array
    code: NDArray[np.int64]
    station: Array

    @property
    def stopped_by(self) -> str:
        """What stops the nominal draw, in words."""
        return _WORDS[int(self.code[0])].format(float(self.station[0]))

    def chance(self, z: float) -> float:
        """Share of the draws in which the tip gets to `z` passively (the nominal row alone if there is no other)."""
        drawn = self.z[1:] if len(self.z) > 1 else self.z
        return float(np.mean(drawn <= z + PRECISION))


def reach(
    profile: Profile, passage: Passage, *, offset: ArrayLike = 0.0, clearance: float = 0.0, elastic: bool = False,
    strain_limit: float = 0.0, longest: float = np.inf, floor: float | None = None,
) -> Reach:  # fmt: skip
    """Deepest passive place of an instrument in each draw of the passage.

    `offset`: error of its diameter, a number or (d,); `clearance` mm to be kept to the wall all round;
    `longest` mm from the tip to the stop on its shank, against `passage.length`; `floor` is the z that it is
    never taken below (the end of the preparation when None). Raises ValueError where numbers of draws differ.
    """
    if clearance < 0:
        raise ValueError(f"clearance must be 0 mm or more, not {clearance}")
    draws = passage.draws_count
    offsets = np.broadcast_to(np.asarray(offset, dtype=float), draws)
    lowest = np.full(draws, passage.end if floor is None else float(floor))
    by_length = np.clip(passage.length - longest, -np.inf, passage.orifice)
    floors = np.maximum(np.maximum(lowest, by_length), passage.z[0])
    extra = np.ascontiguousarray(offsets + 2 * clearance)
    at, diameter = rising(profile)
    if elastic and strain_limit > 0:
        z, code, station = _elastic(passage, at, diameter, extra, offsets, strain_limit, floors)
    else:
        top = np.full(draws, passage.orifice)
        z, code, station = _rigid(passage, np.arange(draws), at, diameter, extra, floors, top)
    code = np.where((code == END) & (by_length > lowest), LENGTH, code)
    code = np.where(z >= passage.orifice - 1e-9, np.where(by_length >= passage.orifice, LENGTH, ORIFICE), code)
    return Reach(z, code, station)


def reach_of(tool: Tool, passage: Passage, scores: ArrayLike | None = None, clearance: float = 0.0) -> Reach:
    """Reach of a tool of the tray, by its own profile, elasticity, length and tolerance.

    `scores`, shape (d,) in [-1, 1], scale the tool's tolerance to the error of its diameter (0 in row 0).
    A needle counts as a straight steel tube that has not been bent.
    """
    profile = Profile((0.0,), (tool.outside,)) if isinstance(tool, Needle) else tool.profile
    elastic, limit = _bending(tool)
    return reach(
        profile,
        passage,
        offset=0.0 if scores is None else tool.tolerance * np.asarray(scores, dtype=float),
        clearance=clearance,
        elastic=elastic,
        strain_limit=limit,
        longest=np.inf if isinstance(tool, File) else tool.working_length,
    )


def reaches(
    tools: Iterable[Tool], passage: Passage, scores: ArrayLike | None = None, clearance: float = 0.0
) -> tuple[Reach, ...]:
    """`reach_of` for each tool."""
    return tuple(reach_of(tool, passage, scores, clearance) for tool in tools)


def binding_level(diameter: ArrayLike, tip: ArrayLike, taper: ArrayLike) -> Array:
    """Distance [mm] from the end at which a cylinder binds in a cone: (diameter - tip) / taper; 0 where it passes."""
    return np.asarray(np.maximum((np.asarray(diameter, dtype=float) - tip) / np.asarray(taper, dtype=float), 0.0))


def _bending(tool: Tool) -> tuple[bool, float]:
    if isinstance(tool, Needle):
        return True, STEEL_STRAIN
    if isinstance(tool, File):
        return True, FILE_STRAIN
    return tool.elastic, tool.strain_limit


def _rigid(
    passage: Passage, rows: NDArray[np.int64], at: Array, diameter: Array, extra: Array, floors: Array,
    ceilings: Array,
) -> tuple[Array, NDArray[np.int64], Array]:  # fmt: skip
    from canalwright.fit import _rigid as kernel

    line = passage.centre - passage.departure
    z, station, code = np.empty(len(rows)), np.empty(len(rows)), np.empty(len(rows), np.int64)

    def run(part: slice) -> None:
        some = rows[part]
        kernel.reaches(
            passage.z, line, passage.departure, passage.curve[some], passage.axis, passage.minor[some],
            passage.major[some], passage.fin[some], len(passage.z), at, diameter, extra[some], floors[some],
            ceilings[some], PRECISION, z[part], station[part], code[part],
        )  # fmt: skip

    _split(run, len(rows))
    return z, code, station


def _elastic(
    passage: Passage, at: Array, diameter: Array, extra: Array, offsets: Array, limit: float, floors: Array
) -> tuple[Array, NDArray[np.int64], Array]:
    from canalwright.fit import _seat

    draws, n = passage.minor.shape
    seated, stop = np.empty(draws), np.empty(draws)
    none = np.zeros(draws)
    _seat.seats(passage.z, passage.minor, extra, n, at, diameter, none, seated, stop)
    by_width = np.maximum(seated, floors)
    best, station = np.full(draws, np.inf), np.empty(draws)
    tip, where = np.empty(draws), np.empty(draws)
    for aside, bend in paths(passage):
        k = passage.curve[:, None]
        with np.errstate(divide="ignore"):
            # `seats` takes `extra` off each width; bending knows no clearance, so that part is given back.
            allowed = 2 * limit / (k * bend) + (extra - offsets)[:, None]
        _seat.seats(
            passage.z, np.minimum(passage.minor - 2 * k * aside, allowed), extra, n, at, diameter, none, tip, where
        )
        deeper = tip < best
        best[deeper], station[deeper] = tip[deeper], where[deeper]
        if (best <= by_width + PRECISION).all():
            break
    best = np.maximum(best, by_width)
    bent = np.flatnonzero(best > by_width + PRECISION)
    if len(bent):
        straight, _, by = _rigid(passage, bent, at, diameter, extra, floors, best)
        deeper = straight < best[bent]
        best[bent[deeper]], station[bent[deeper]] = straight[deeper], by[deeper]
    code = np.where(best > by_width + NEAR, CURVE, np.where(seated <= floors, END, WIDTH))
    station = np.where(code == CURVE, station, np.where(code == END, floors, stop))
    return best, code.astype(np.int64), station


def paths(passage: Passage) -> list[tuple[Array, Array]]:
    """Paths smoother than the centreline: for each of `WINDOWS` how far it leaves it (n,) and its curvature (n,)."""
    z, p = passage.z, passage.centre
    step = float(np.min(np.diff(z)))
    grid = np.arange(z[0] - WINDOWS[-1], z[-1] + WINDOWS[-1] + step, step)
    line = _carried_on(z, p, grid)
    found = []
    for window in WINDOWS:
        m = max(1, round(window / step))
        triangle = (m - np.abs(np.arange(-m + 1, m))) / m**2
        smooth = np.column_stack([np.convolve(line[:, i], triangle, "same") for i in range(3)])
        bend = np.zeros(len(grid))
        bend[m:-m] = np.linalg.norm(line[2 * m :] - 2 * line[m:-m] + line[: -2 * m], axis=1) / (m * step) ** 2
        aside = np.linalg.norm(smooth - line, axis=1)
        found.append((np.interp(z, grid, aside), np.interp(z, grid, bend)))
    return found


def _carried_on(z: Array, p: Array, grid: Array) -> Array:
    """Points at `grid`, the line carried on straight beyond both ends (over the slope of the last 0.5 mm)."""
    inside = np.column_stack([np.interp(grid, z, p[:, i]) for i in range(3)])
    for end, inner in ((0, min(5, len(z) - 1)), (-1, max(-6, -len(z)))):
        slope = (p[inner] - p[end]) / (z[inner] - z[end])
        beyond = grid < z[0] if end == 0 else grid > z[-1]
        inside[beyond] += (grid[beyond] - z[end])[:, None] * slope
    return inside


def _split(run: Callable[[slice], None], count: int) -> None:
    """Share rows out over the processors where there are enough of them; the kernels let go of the interpreter."""
    parts = min(os.cpu_count() or 1, count // 64)
    if parts <= 1:
        run(slice(0, count))
        return
    edges = np.linspace(0, count, parts + 1).astype(int)
    with ThreadPoolExecutor(parts) as pool:
        list(pool.map(run, [slice(a, b) for a, b in pairwise(edges)]))
