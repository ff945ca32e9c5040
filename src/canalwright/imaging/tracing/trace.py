"""Trace a canal in a scan: from two points to widths, wall and length by station, finer than a voxel.

The steps: a way through the lumen by fast marching (`tracing_path`), a blurred elliptical tube fitted to the voxels
about it (`profile_fit`), the root's outer surface ray by ray (`wall`), the place where the canal leaves the root
(`terminus`), the tube fitted again with the outside accounted for, and a judgement of it all (`tracing_quality`). A
canal that the scan does not show is refused or marked, never made up.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.found import FoundCanal
from canalwright.imaging.refusal import refusal
from canalwright.imaging.tracing.apart import Apart
from canalwright.imaging.tracing.barrier import Barrier
from canalwright.imaging.tracing.block import Block, take
from canalwright.imaging.tracing.frame import Frame
from canalwright.imaging.tracing.path import Tones, find_path, first_line
from canalwright.imaging.tracing.quality import judge, visible
from canalwright.imaging.tracing.result import Parts, found
from canalwright.imaging.tracing.state import BEYOND, CORRELATED, State
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
MARGIN = 7.5
LENGTHS = (3.0, 35.0)
"""Lengths that a canal may have, mm: a shorter one no cone is fitted into."""


def trace(
    scan: Scan,
    orifice: tuple[float, float, float] | Array,
    terminus: tuple[float, float, float] | Array,
    *,
    name: str = "canal",
    via: Sequence[Array] = (),
    barriers: Sequence[Barrier] = (),
    pinned: bool = False,
    guessed: bool = False,
    apart: Apart | None = None,
) -> FoundCanal:
    """The canal between two points of the scan (LPS mm), clicked at its orifice and near its end.

    The end is moved to where the canal leaves the root, at most `BEYOND` mm on, unless it is `pinned`. Widths, wall and
    length carry errors; `quality` says what is doubtful. The way runs through the points `via`, in their order from the
    orifice down; neither way nor widths reach across a barrier. `guessed`: nobody pointed at the end, so that finding it
    elsewhere raises less doubt. `apart`: other canals near by, whose lumen is not this one's.

    Raises ScanError for points outside the scan or the lumen, voxels too coarse, and where no canal is seen between.
    """
    top, end = _point(scan, "orifice", orifice), _point(scan, "terminus", terminus)
    long = float(np.linalg.norm(top - end))
    if not LENGTHS[0] <= long <= LENGTHS[1]:
        raise refusal(
            scan.path or "scan in memory",
            f"orifice and terminus are {long:.2f} mm apart",
            allowed=f"{LENGTHS[0]:g} to {LENGTHS[1]:g} mm",
            remedy="pick the points again, or correct the scan's voxel size",
        )
    through = [_point(scan, "point of the way", point) for point in via]
    block = take(scan, np.array([top, end, *through]), MARGIN)
    points, tones = find_path(block, top, end, via=through, barriers=barriers, apart=apart)
    return along(
        block, points, tones, top, end, name, scan, barriers=barriers, pinned=pinned, guessed=guessed, apart=apart
    )


def along(
    block: Block, points: Array, tones: Tones, top: Array, end: Array, name: str, scan: Scan,
    *, barriers: Sequence[Barrier] = (), pinned: bool = False, painted: bool = False, guessed: bool = False,
    apart: Apart | None = None,
) -> FoundCanal:  # fmt: skip
    """Measure the canal that runs along `points` (m, 3), terminus first; `painted`: the greys are a mask's steps."""
    line, at = first_line(points, top, end, block.voxel, BEYOND)
    state = State(
        block, Frame(line), tones, at, 1.0 if painted else CORRELATED, tuple(barriers), painted=painted, apart=apart
    )
    state = state.first_fit()
    visible(state.seen(), block.name)
    state = state.relined(end).first_fit()
    surface, stations = state.surface()
    state = state.second_fit(surface, stations)
    surface, stations = state.surface()
    exit_ = state.exit()
    last = _crossing(state, top)
    parts = Parts(
        state.frame,
        state.fit,
        surface,
        stations,
        exit_,
        state.at,
        last,
        state.straight,
        block.voxel,
        state.tones.noise,
        pinned,
        guessed,
        apart,
    )
    canal = found(parts, name, scan)
    if canal.length < LENGTHS[0]:
        raise refusal(
            block.name,
            f"what was followed is only {canal.length:.1f} mm long, too short for a canal",
            allowed=f"{LENGTHS[0]:g} mm or more",
            remedy="pick the orifice and the end of one canal",
        )
    return replace(canal, quality=judge(state.seen(), parts, canal, block.name))


def _point(scan: Scan, key: str, point: tuple[float, float, float] | Array) -> Array:
    p = np.asarray(point, dtype=float)
    if p.shape != (3,) or not np.isfinite(p).all():
        raise refusal(
            scan.path or "scan in memory", f"{key} {point!r}", allowed="three numbers, LPS mm", remedy="pick it again"
        )
    return p


def _crossing(state: State, top: Array) -> float:
    """Station of the refined line nearest to the orifice that was clicked."""
    s, _, _ = state.frame.place(top[None])
    return float(np.clip(s[0], state.at + 1.0, state.frame.line.s[-1]))
