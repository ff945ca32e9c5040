"""From two scans to an `Assessment`."""

import itertools
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label

from canalwright.assessment import criteria
from canalwright.assessment.compare import planned_share
from canalwright.assessment.result import Assessment, Beyond, PortalSeen, Sight, StationFill
from canalwright.assessment.scan.labels import fill_labels
from canalwright.assessment.scan.line import BranchLine, CanalLine
from canalwright.assessment.scan.register import Registered, register
from canalwright.assessment.scan.shares import Shares, shares
from canalwright.assessment.scan.voids import SEEN, find_voids
from canalwright.imaging.errors import ScanError
from canalwright.imaging.volume import Scan
from canalwright.planning import Plan
from canalwright.quantities import Origin, Quantity, Source

Array = NDArray[np.float64]
REGISTERED = 0.8
"""Share of the time when the two scans lie on each other."""
Z90 = 1.6448536269514722
STRETCH = 0.5
"""Length of a station of the result, mm."""
MICRO, CONE_BEAM = "micro-CT", "cone-beam scan"


@dataclass(frozen=True)
class ScanReading:
    """An assessment with its `labels` (numbers as `labels.NAMES`) on the voxels of the scan before the filling.

    A place p of that scan, mm, lies at `turn @ p + shift` in the one after it.
    """

    assessment: Assessment
    labels: Scan = field(repr=False)
    turn: Array
    shift: Array


def read(
    before: Scan,
    after: Scan,
    line: CanalLine,
    *,
    basis: str,
    tooth: int,
    canal: str,
    plan: Plan | None = None,
    band: criteria.Band = criteria.WITHIN_TWO,
    search: bool = False,
    step: Callable[[float], None] = lambda share: None,
) -> ScanReading:
    """Assess a filling from the scans before and after it. `basis` is 'micro-CT' or 'cone-beam scan'.

    `step` is told the share that is done. Raises RegistrationError where the scans do not fit together, ScanError where
    the filling is not seen.
    """
    if basis not in (MICRO, CONE_BEAM):
        raise ScanError(f"basis {basis!r}: {MICRO} or {CONE_BEAM}")
    found = register(before, after, line, search=search, step=lambda share: step(REGISTERED * share))
    step(REGISTERED)
    part = shares(found, line)
    side = float(found.before.spacing.max())
    source = Source(Origin.SCAN, f"{basis}, voxel {side:.3g} mm")
    end, top, end_error = _ends(part, line, side, found.residual)
    to_terminus = Quantity(end, end - Z90 * end_error, end + Z90 * end_error, "mm", source)
    length = top - end
    step(0.5 * (1.0 + REGISTERED))
    voids, chances, smallest = find_voids(part, found.before, line, end, top, found.residual)
    stations = _stations(part, line, side, end, top, plan, basis)
    slope, drop = _taper(part, line, end, top, side)
    told = Assessment(
        tooth=tooth,
        canal=canal,
        basis=basis,
        how=f"registered, residual {found.residual:.3f} mm ({found.residual_voxels:.1f} voxels)",
        to_terminus=to_terminus,
        length_filled=Quantity(length, length - 2 * Z90 * end_error, length + 2 * Z90 * end_error, "mm", source),
        grade=criteria.grade(
            criteria.length_criterion(to_terminus, band),
            criteria.density_criterion(chances, smallest, length),
            criteria.taper_criterion(slope, drop),
        ),
        taper=slope,
        void_share=_void_share(stations, voids, basis, part),
        stations=stations,
        voids=voids,
        portals=tuple(_branch(part, found, branch, basis) for branch in line.branches),
        beyond=_beyond(part, side, basis),
        smallest_void=smallest,
        not_seen=_not_seen(smallest, side, basis, part),
        notes=_notes(part, found, basis),
    )
    return ScanReading(told, fill_labels(part, found.before, end, top), found.turn, found.shift)


def _ends(part: Shares, line: CanalLine, side: float, residual: float) -> tuple[float, float, float]:
    """Stations at which the filling ends and begins, where half of the lumen is filled, finer than a station; and their error."""
    step = max(side, 0.05)
    edges = np.arange(-0.4, line.z[-1] + step, step)
    filled, hollow = (
        np.array([part.within(a, b, side) @ v for a, b in itertools.pairwise(edges)])
        for v in (part.filling, part.lumen)
    )
    area = np.interp((edges[1:] + edges[:-1]) / 2, line.z, np.pi / 4 * line.minor * line.major) * step / part.voxel
    share = filled / np.maximum(np.maximum(hollow, area), 1e-9)
    share = np.convolve(np.pad(share, 1, mode="edge"), [0.25, 0.5, 0.25], mode="valid")
    middle = (edges[1:] + edges[:-1]) / 2
    over = share > 0.5
    if not over.any():
        raise ScanError("no filling is seen along the canal: is the second scan after the filling?")
    runs = np.split(np.flatnonzero(over), np.flatnonzero(np.diff(np.flatnonzero(over)) > int(1.5 / step)) + 1)
    run = max(runs, key=len)
    first, last = int(run[0]), int(run[-1])
    end = float(middle[0]) if first == 0 else _between(middle, share, first - 1)
    top = float(middle[-1]) if last == len(over) - 1 else _between(middle, share, last)
    return end, top, float(np.hypot(0.35 * side, residual)) + 0.02


def _between(x: Array, y: Array, i: int) -> float:
    return float(x[i] + (0.5 - y[i]) / (y[i + 1] - y[i] + 1e-12) * (x[i + 1] - x[i]))


def _stations(
    part: Shares, line: CanalLine, side: float, end: float, top: float, plan: Plan | None, basis: str
) -> tuple[StationFill, ...]:
    found = []
    for low in np.arange(0.0, line.z[-1] - 0.25, STRETCH):
        high = low + STRETCH
        here = part.within(low, high, side)
        count = float(here.sum())
        hollow, filled = float(here @ part.lumen), float(here @ part.filling)
        if hollow <= 1:
            continue
        noise = part.noise * np.sqrt(count) / hollow
        spread = float(np.hypot(noise, part.contrast_error)) + (0.05 if basis == CONE_BEAM else 0.0)
        share = float(np.clip(filled / hollow, 0, 1))
        within = float(np.clip((min(high, top) - max(low, end)) / STRETCH, 0, 1))
        unfilled = min(1.0 - within, 1.0 - share)
        void = max(1.0 - share - unfilled, 0.0)
        volume = hollow * part.voxel
        doubt = Z90 * float(np.hypot(part.noise * 1.5 * np.sqrt(count), 0.03 * hollow)) * part.voxel
        found.append(
            StationFill(
                float(low), float(high), _bounded(share, Z90 * spread), _bounded(void, Z90 * spread),
                _bounded(unfilled, Z90 * spread if 0 < within < 1 else 0.02),
                Quantity(volume, max(volume - doubt, 0.0), volume + doubt, "mm3"), planned_share(plan, low, high),
            )
        )  # fmt: skip
    return tuple(found)


def _bounded(value: float, doubt: float) -> Quantity:
    return Quantity(value, max(value - doubt, 0.0), min(value + doubt, 1.0), "")


def _void_share(stations: tuple[StationFill, ...], voids: tuple[object, ...], basis: str, part: Shares) -> Quantity:
    """Share of the filling's volume: the sum of the voids seen at least, what greys alone allow at most."""
    whole = sum(s.volume.value * (1 - s.unfilled.value) for s in stations if s.volume is not None)
    if whole <= 0:
        return Quantity(0.0, 0.0, 1.0, "")
    sums = [getattr(v, "volume") for v in voids]  # noqa: B009
    value, low, high = (sum(getattr(q, end) for q in sums) / whole for end in ("value", "low", "high"))
    lacking = sum(s.void.value * s.volume.value for s in stations if s.volume is not None) / whole
    most = max(high, lacking + Z90 * part.contrast_error)
    return Quantity(min(value, 1.0), min(low, value, 1.0), min(max(most, value), 1.0), "")


def _taper(part: Shares, line: CanalLine, end: float, top: float, side: float) -> tuple[Quantity, Quantity]:
    """Growth of the filling's equal-area diameter towards the crown, and its greatest fall that way."""
    step = max(0.3, 2 * side)
    edges = np.arange(max(end, 0.0) + 0.3, top - 0.3, step)
    if len(edges) < 5:
        return Quantity(0.0, -1.0, 1.0, "mm/mm"), Quantity(0.0, 0.0, 1.0, "mm")
    filled = (
        np.array([part.within(a, b, side) @ part.filling for a, b in itertools.pairwise(edges)]) * part.voxel / step
    )
    width = np.sqrt(4 / np.pi * np.maximum(filled, 1e-4))
    z = (edges[1:] + edges[:-1]) / 2
    if len(z) < 5:
        return Quantity(0.0, -1.0, 1.0, "mm/mm"), Quantity(0.0, 0.0, 1.0, "mm")
    p, cov = np.polyfit(z, width, 1, cov=True)
    error = float(np.sqrt(cov[0, 0]))
    own = float(np.median(np.abs(width - np.polyval(p, z)))) / 0.6745 + 0.01
    fall = max(float((np.maximum.accumulate(width) - width).max()) - own, 0.0)
    return (
        Quantity(float(p[0]), float(p[0]) - Z90 * error, float(p[0]) + Z90 * error, "mm/mm"),
        Quantity(fall, max(fall - Z90 * own, 0.0), fall + Z90 * own, "mm"),
    )


def _branch(part: Shares, found: Registered, branch: BranchLine, basis: str) -> PortalSeen:
    """Filling along a branch: where a full one would stand out, it is there or absent; where not, not seen."""
    side = float(found.before.spacing.max())
    places = found.before.to_patient(part.index.astype(float))
    start, stop = branch.path[0], branch.path[-1]
    length = float(np.linalg.norm(stop - start))
    way = (stop - start) / max(length, 1e-9)
    along = (places - start) @ way
    across = np.linalg.norm(places - start - along[:, None] * way, axis=1)
    tube = (across < branch.diameter / 2 + 1.5 * side) & ~part.near & (along > 0) & (along < length)
    area = np.pi / 4 * branch.diameter**2
    begin = float(along[tube].min()) if tube.any() else 0.0
    full = area * max(length - begin, 0.0)
    noise = part.noise * float(np.sqrt(max(int(tube.sum()), 1))) * part.voxel
    if tube.sum() < 4 or full < (SEEN + 1.28) * noise or branch.diameter < 1.2 * side:
        return PortalSeen(branch.name, branch.z, Sight.NOT_SEEN, None, None, branch.planned)
    volume = max(float(part.filling[tube].sum()) * part.voxel, 0.0)
    spread = Z90 * float(np.hypot(noise, part.contrast_error * volume))
    told = Quantity(volume, max(volume - spread, 0.0), volume + spread, "mm3")
    if volume < SEEN * noise:
        sight = Sight.ABSENT if basis == MICRO else Sight.NOT_SEEN
        return PortalSeen(branch.name, branch.z, sight, None, told if sight is Sight.ABSENT else None, branch.planned)
    reach = volume / area
    share = Z90 * float(np.hypot(noise / area, 0.3 * reach))
    return PortalSeen(
        branch.name,
        branch.z,
        Sight.THERE,
        Quantity(reach, max(reach - share, 0.0), reach + share, "mm"),
        told,
        branch.planned,
    )


def _beyond(part: Shares, side: float, basis: str) -> Beyond:
    """Filling past the terminus: voxels of it that hang together there. Halo and dark bands of a cone-beam scan may hide it."""
    past = part.grid(np.where(part.z < -0.5 * side, part.filling, 0.0))
    marked, count = label(past > max(0.3, 5 * part.noise))
    sizes = np.bincount(marked.ravel())[1:]
    if not count or sizes.max() < 4:
        return Beyond(Sight.ABSENT if basis == MICRO and 4 * part.voxel <= 0.02 else Sight.NOT_SEEN)
    spot = np.isin(marked, np.flatnonzero(sizes >= 4) + 1)
    volume = float(past[spot].sum()) * part.voxel
    z = part.z[spot[part.index[:, 2], part.index[:, 1], part.index[:, 0]]]
    reach = float(-z.min())
    doubt = Z90 * float(np.hypot(0.15 * volume, part.noise * np.sqrt(spot.sum()) * part.voxel))
    return Beyond(
        Sight.THERE, Quantity(reach, max(reach - side, 0.0), reach + side, "mm"), None,
        Quantity(volume, max(volume - doubt, 0.0), volume + doubt, "mm3"),
    )  # fmt: skip


def _not_seen(smallest: Quantity, side: float, basis: str, part: Shares) -> tuple[str, ...]:
    told = [
        f"voids smaller than {smallest.value:.2f} mm ({smallest.low:.2f} to {smallest.high:.2f})",
        f"gaps at the wall thinner than {side:.2f} mm",
        f"side branches thinner than {1.2 * side:.2f} mm",
    ]
    if basis == CONE_BEAM:
        told.append(
            "what the halo and the dark bands about the filling cover: a cone-beam scan shows it wider than it is"
        )
    return tuple(told)


def _notes(part: Shares, found: Registered, basis: str) -> tuple[str, ...]:
    told = list(found.before.warnings)
    if abs(part.halo) > 0.05:
        told.append("the filling shines out over the dentine beside it: volumes are doubtful by that share")
    if basis == CONE_BEAM:
        told.append("a cone-beam scan shows voids smaller than they are, and the filling wider")
    if part.cut > 0.2:
        told.append("the filling is brighter than this scan can tell: shares come out too large")
    return tuple(told)
