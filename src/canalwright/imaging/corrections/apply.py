"""The canals after a log of corrections: every touched one traced and measured again in the voxels."""

from collections.abc import MutableMapping, Sequence
from dataclasses import replace

import numpy as np

from canalwright.imaging.corrections.correction import Correction, Kind
from canalwright.imaging.corrections.plan import Way, planned
from canalwright.imaging.errors import CorrectionError, ScanError
from canalwright.imaging.found import FoundCanal, FoundPortal
from canalwright.imaging.joins import joined
from canalwright.imaging.tracing.portal import measure_portal
from canalwright.imaging.tracing.trace import trace
from canalwright.imaging.volume import Scan

Memory = MutableMapping[object, FoundCanal]
SAID = 0.5
"""Distance between a point that was set and the centreline measured from which a note tells of it, mm."""


def correct(
    scan: Scan, found: Sequence[FoundCanal], corrections: Sequence[Correction], *, memory: Memory | None = None
) -> tuple[FoundCanal, ...]:
    """The canals of `scan` after the `corrections`, replayed in order on what was `found`.

    Canals that no correction touches come back as they were; joins are looked for again. `memory` keeps measurements
    between calls: give the same dict again to measure only what changed.

    Raises CorrectionError, in one line that names the correction, for one that does not fit the canals, and where the
    scan shows no canal or no branch along the corrected way.
    """
    if not corrections:
        return tuple(found)
    memory = {} if memory is None else memory
    canals = [_measured(scan, way, memory) for way in planned(found, corrections)]
    return tuple(joined(canals))


def _measured(scan: Scan, way: Way, memory: Memory) -> FoundCanal:
    if not way.log:
        assert way.found is not None
        return way.found
    canal = way.found
    if way.again or canal is None:
        canal = memory.get(way.key) or _traced(scan, way)
        memory[way.key] = canal
    portals = _portals(scan, way, canal)
    authors = tuple(dict.fromkeys(c.author for c in way.log))
    told = "; ".join(dict.fromkeys(c.told for c in way.log))
    notes = [*canal.notes, *_off(way, canal, 2 * float(scan.spacing.max()))]
    return replace(
        canal, portals=portals, corrected_by=authors, source=f"{canal.source}; {told}", notes=tuple(dict.fromkeys(notes))
    )  # fmt: skip


def _traced(scan: Scan, way: Way) -> FoundCanal:
    try:
        return trace(
            scan, way.stops[0], way.stops[-1], name=way.name, via=tuple(way.stops[1:-1]), barriers=way.barriers,
            pinned=way.pinned,
        )  # fmt: skip
    except ScanError as error:
        raise CorrectionError(f"{way.log[-1]}: {error}") from None


def _portals(scan: Scan, way: Way, canal: FoundCanal) -> tuple[FoundPortal, ...]:
    """Portals that were found and are not dropped, placed on the canal as it is now, and those added, measured."""
    kept = []
    for portal in way.found.portals if way.found is not None else ():
        if not any(np.allclose(portal.path[0], place) for place in way.dropped):
            at = int(np.argmin(np.linalg.norm(canal.lumen.centre - portal.path[0], axis=1)))
            kept.append(replace(portal, z=float(canal.lumen.z[at])))
    adding = [c for c in way.log if c.kind is Kind.ADD_PORTAL]
    for branch in way.added:
        try:
            kept.append(measure_portal(scan, canal, branch.points, kind=branch.kind))
        except ScanError as error:
            said = next(c for c in adding if np.allclose(c.points, branch.points))
            raise CorrectionError(f"{said}: {error}") from None
    return tuple(sorted(kept, key=lambda p: p.z))


def _off(way: Way, canal: FoundCanal, least: float) -> list[str]:
    """Points set by hand that the canal measured does not run through."""
    notes = []
    for point in way.stops[1:-1][way.fixed[1:-1]]:
        away = np.linalg.norm(canal.lumen.centre - point, axis=1)
        if away.min() > max(SAID, least):
            z = float(canal.lumen.z[int(np.argmin(away))])
            notes.append(f"the lumen measured runs {away.min():.1f} mm beside the point that was set near z {z:.1f} mm")
    return notes
