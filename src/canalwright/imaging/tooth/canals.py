"""The canals of a tooth from one click: ends and orifices found (`ways`), each traced and measured beside the others, and the
second limbs that no end shows (`limbs`).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from canalwright.imaging.errors import ScanError
from canalwright.imaging.found import FoundCanal
from canalwright.imaging.joins import joined
from canalwright.imaging.readers.opened import Opened
from canalwright.imaging.refusal import refusal
from canalwright.imaging.tooth.bone import refuse_bone
from canalwright.imaging.tooth.ends import SHORTEST
from canalwright.imaging.tooth.isthmus import isthmuses
from canalwright.imaging.tooth.limbs import with_limbs
from canalwright.imaging.tooth.outline import Tooth, find_tooth
from canalwright.imaging.tooth.pick import pick_tooth
from canalwright.imaging.tooth.ways import ONE, Way, canal_ways
from canalwright.imaging.tracing.apart import Apart, dense, parted
from canalwright.imaging.tracing.cores import workers
from canalwright.imaging.tracing.quality import (
    LOST,
    SHARPEST,
    TURNED,
    but_for_its_end,
    led_elsewhere,
    less_sure,
    sharpest_turn,
)
from canalwright.imaging.tracing.result import GUESS_ERROR
from canalwright.imaging.tracing.trace import trace
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
POOR, CLEARLY = 0.6, 0.2
DEEPER = (1.2, 2.4)
"""Steps by which an orifice is moved into the canal where the trace from it is poorer than `POOR`, mm."""
ON, LAST = (0.75, -0.75), 2.0
"""How far along its line from where its way led an end that was not found is looked for again; the length of line that says where that
is, mm."""
LEFT, VIA = 0.4, 4
"""Distance from which a canal's line has left the course that its way was followed along, mm; every how many of its points (0.2 mm apart)
it is then led through."""
MARGIN = 7.5
OUTLINED, TRACED = 0.15, 0.7
"""Share of the time when the tooth is outlined, and when its canals are traced; the rest goes on second limbs."""


@dataclass(frozen=True)
class FoundTooth:
    """What one click finds: the tooth, its canals, and the part of the scan about it in memory."""

    tooth: Tooth
    canals: tuple[FoundCanal, ...]
    scan: Scan


def find_canals(
    scan: Scan | Opened,
    click: tuple[float, float, float] | Array,
    *,
    step: Callable[[float], None] = lambda share: None,
) -> tuple[FoundCanal, ...]:
    """The canals of `measure_tooth`."""
    return measure_tooth(scan, click, step=step).canals


def measure_tooth(
    scan: Scan | Opened,
    click: tuple[float, float, float] | Array | None = None,
    *,
    step: Callable[[float], None] = lambda share: None,
) -> FoundTooth:
    """The tooth at `click` (LPS mm) and all its canals, longest first, named 'canal 1' and so on.

    Where one meets a longer one is marked. Without a click the one tooth that fills the volume is meant. Of a scan that
    was only opened no more is read than the tooth and what is about it. `step` is told the share that is done. Raises
    ScanError when there is no tooth or no pulp there, or when none of its canals can be traced.
    """
    tooth = _first_tooth(scan, pick_tooth(scan)) if click is None else find_tooth(scan, np.asarray(click, dtype=float))
    ways = canal_ways(tooth)
    refuse_bone(tooth, ways)
    step(OUTLINED)
    near = scan.around(tooth.corners(), MARGIN) if isinstance(scan, Opened) else scan
    made: list[FoundCanal] = []
    refused: list[str] = []
    with workers() as pool:
        whole = [way.whole for way in ways]
        outcomes = pool.map(lambda n: _tried(near, ways[n], parted(whole, n)), range(len(ways)))
        for done, outcome in enumerate(outcomes, start=1):
            step(OUTLINED + (TRACED - OUTLINED) * done / len(ways))
            if isinstance(outcome, ScanError):
                refused.append(str(outcome))
            else:
                made.append(outcome)
    made = with_limbs(near, _different(made), step=lambda share: step(TRACED + (1.0 - TRACED) * share))
    if not made:
        said = refused[0] if refused else "no canal leaves its pulp"
        raise refusal(scan.path or "scan in memory", f"no canal found ({said})", remedy="give two points by hand")
    made.sort(key=lambda c: -c.length)
    notes = list(tooth.notes)
    if tooth.cej is None:
        notes.append("no enamel seen: where the canal begins is taken from the shape of its pulp")
    if refused:
        notes.append(f"{len(refused)} more end(s) of the pulp could not be traced")
    named = [replace(c, name=f"canal {n + 1}", notes=(*c.notes, *notes)) for n, c in enumerate(made)]
    return FoundTooth(tooth, tuple(isthmuses(tooth, joined(named))), near)


def _first_tooth(scan: Scan | Opened, places: list[Array]) -> Tooth:
    """The tooth at the first of `places` where there is one. Raises the first refusal where there is none."""
    refused: list[ScanError] = []
    for place in places:
        try:
            return find_tooth(scan, place)
        except ScanError as error:
            refused.append(error)
    raise refused[0]


def _tried(scan: Scan, way: Way, apart: Apart | None) -> FoundCanal | ScanError:
    """The canal of a way, or why there is none."""
    try:
        return _best(scan, way, apart)
    except ScanError as error:
        return error


def _best(scan: Scan, way: Way, apart: Apart | None) -> FoundCanal:
    """The canal from its orifice; where that makes a poor one or none, from deeper in it, past the chamber's own bends."""
    found: FoundCanal | None = None
    first: ScanError | None = None
    for deeper in (0.0, *DEEPER):
        if deeper and way.length - deeper < SHORTEST:
            break
        try:
            other = _to_its_end(scan, way, way.deeper(deeper), apart)
        except ScanError as error:
            first = first or error
            continue
        if found is None or other.quality.score > found.quality.score + CLEARLY:
            note = f"its first {deeper:.1f} mm below the orifice could not be followed well and are left out"
            found = replace(other, notes=(*other.notes, note)) if deeper else other
        # another orifice mends no end
        if but_for_its_end(found.quality) >= POOR or _bent_below(found):
            break
    if found is None:
        assert first is not None
        raise first
    return found


def _kept_inside(scan: Scan, way: Way, orifice: Array, apart: Apart | None) -> FoundCanal:
    """The canal to the end that its way led to; where it left the course of that way, traced through it, unless that scores clearly less.

    In a thin root the blurred edge beside the ligament is darker than a faint canal: the quickest way runs along it, and is seen well.
    """
    found = trace(scan, orifice, way.terminus, guessed=True, apart=apart)
    inner = way.course[:-VIA:VIA]
    away, _ = cKDTree(dense(found.lumen.centre)).query(inner) if len(inner) else (np.zeros(1), None)
    if away.max() < LEFT:
        return found
    try:
        again = trace(scan, orifice, way.terminus, via=tuple(inner), guessed=True, apart=apart)
    except ScanError:
        return found
    if again.quality.score <= found.quality.score - CLEARLY:
        again = found
    else:
        off = abs(float((again.terminus - found.terminus) @ again.crown))
        again = less_sure(again, GUESS_ERROR if LOST in found.quality.reasons else off)
    return again


def _to_its_end(scan: Scan, way: Way, orifice: Array, apart: Apart | None) -> FoundCanal:
    """The canal from an orifice to its exit; where none is found about the end that its way led to, looked for along its line."""
    found = _kept_inside(scan, way, orifice, apart)
    if LOST not in found.quality.reasons:
        return found
    up = np.array([np.interp(LAST, found.lumen.z, c) for c in found.lumen.centre.T]) - found.terminus
    for on in ON:
        try:
            other = trace(scan, orifice, found.terminus - on * up / np.linalg.norm(up), guessed=True, apart=apart)
        except ScanError:
            continue
        if LOST not in other.quality.reasons:
            away = float(np.linalg.norm(other.terminus - way.terminus))
            return less_sure(replace(other, quality=led_elsewhere(other.quality, away)), GUESS_ERROR)
    return found


def _bent_below(canal: FoundCanal) -> bool:
    """Whether its one grave fault is a turn that lies below every place that its orifice could be moved to, as at a join."""
    radius, z = sharpest_turn(canal)
    return but_for_its_end(canal.quality) >= POOR * TURNED and radius < SHARPEST and z < canal.length - DEEPER[-1]


def _different(made: list[FoundCanal]) -> list[FoundCanal]:
    """Canals that end at one place are one canal: the best of them is kept."""
    kept: list[FoundCanal] = []
    for canal in sorted(made, key=lambda c: -c.quality.score):
        if all(np.linalg.norm(canal.terminus - k.terminus) > ONE for k in kept):
            kept.append(canal)
    return kept
