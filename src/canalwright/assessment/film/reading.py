"""From a radiograph and its marks to an `Assessment`."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.spatial import cKDTree

from canalwright.assessment import criteria
from canalwright.assessment.compare import planned_share
from canalwright.assessment.film.beyond import beyond
from canalwright.assessment.film.branches import branches
from canalwright.assessment.film.density import Density, density
from canalwright.assessment.film.ends import Edge, apical_end, coronal_end
from canalwright.assessment.film.marks import FilmError, Marks
from canalwright.assessment.film.outline import crossing, find_outline
from canalwright.assessment.film.overlay import Overlay, lay_over
from canalwright.assessment.film.profile import Profile, profile, steady
from canalwright.assessment.film.straight import Straight, recentred, straighten
from canalwright.assessment.result import Assessment, Beyond, Sight, StationFill
from canalwright.imaging.radiograph.image import MARK_ERROR, Film, Scale
from canalwright.imaging.radiograph.read import NO_SPACING
from canalwright.planning import Plan
from canalwright.quantities import Origin, Quantity, Source

Array = NDArray[np.float64]
Z90 = 1.6448536269514722
PAST = 1.5
"""How far past the last mark a filling may be found before that mark is doubted, mm."""


@dataclass(frozen=True)
class FilmReading:
    """The numbers, and what was found in the picture (pixels), to be drawn and corrected by hand.

    `line` (n, 2) along the filling, `left`, `right` (n, 2) its edges, `outline` of the root, `end`, `top`, `terminus`; `profile_z`,
    `profile_grey`, `profile_whole`: grey along the filling and what it would be without voids.
    """

    assessment: Assessment
    line: Array
    left: Array
    right: Array
    outline: Array
    end: Array
    top: Array
    terminus: Array
    profile_z: Array
    profile_grey: Array
    profile_whole: Array
    void_places: Array
    overlay: Overlay | None


def read(
    film: Film,
    scale: Scale,
    marks: Marks,
    *,
    tooth: int,
    canal: str,
    plan: Plan | None = None,
    band: criteria.Band = criteria.WITHIN_TWO,
    mark_error: float = MARK_ERROR,
) -> FilmReading:
    """Assess a filling on a calibrated radiograph. Raises FilmError, in one line, where it cannot be read."""
    marks.check(*film.size)
    points = np.array([*marks.line[:-1], marks.terminus or marks.line[-1]])
    mm = scale.value
    straight = straighten(film.pixels, points, mm)
    first = profile(straight)
    rough = _edge(marks.end, straight, mark_error) or apical_end(straight, steady(first, mm))
    straight = recentred(
        film.pixels, straight, straight.s, np.where(first.there, first.centre, np.nan), rough.s, points[-1]
    )
    measured = profile(straight)
    even = steady(measured, mm)
    end = _edge(marks.end, straight, mark_error) or apical_end(straight, even)
    top = coronal_end(straight, even)
    guess = straight.station(points[-1])
    if marks.terminus is None and end.s > guess + PAST:
        raise FilmError("the filling goes on past the last mark: mark the canal on to the root's end")
    outline, terminus, how = _terminus(film, straight, even, marks, guess, end, mark_error)

    to_terminus = _quantity(terminus.s - end.s, (terminus.error, end.error), scale, how)
    filled = _quantity(end.s - top.s, (end.error, top.error), scale, how)
    inner = min(end.s, terminus.s)
    seen = density(straight, even, top.s, inner, terminus.s)
    slope, drop = _taper(straight, measured, top.s, inner, terminus.s)
    contrast = float(np.median(even.peak[(straight.s > inner - 1.5) & (straight.s <= inner)])) if inner > 1 else 0.0
    past = (
        beyond(film.pixels, outline, straight.pixel(terminus.s), mm, contrast)
        if len(outline) > 3
        else Beyond(Sight.NOT_SEEN)
    )
    if past.reach is not None and end.s > terminus.s - 0.5:
        to_terminus = _over(to_terminus, past.reach)
    overlay = None
    if plan is not None:
        reference = None if marks.reference is None else np.array(marks.reference)
        overlay = lay_over(plan.canal, plan.lumen, straight, terminus.s, reference)
    portals = plan.canal.portals if plan is not None else ()
    expected = _expected(plan)
    assessment = Assessment(
        tooth=tooth,
        canal=canal,
        basis="radiograph",
        how=scale.how,
        to_terminus=to_terminus,
        length_filled=filled,
        grade=criteria.grade(
            criteria.length_criterion(to_terminus, band),
            criteria.density_criterion(seen.chances, seen.smallest, filled.value),
            criteria.taper_criterion(slope, drop),
        ),
        taper=slope,
        void_share=seen.share,
        stations=_stations(straight, seen, end, top, terminus.s, plan),
        voids=seen.voids,
        portals=branches(film.pixels, straight, even, terminus.s, portals, overlay, expected),
        beyond=past,
        smallest_void=seen.smallest,
        not_seen=_not_seen(seen, past),
        notes=_notes(film, top, end, overlay, marks),
    )
    return _drawn(assessment, straight, even, seen, outline, end, top, terminus, overlay)


def _edge(mark: tuple[float, float] | None, straight: Straight, error: float) -> Edge | None:
    return None if mark is None else Edge(straight.station(np.array(mark)), error * straight.mm)


def _terminus(
    film: Film, straight: Straight, even: Profile, marks: Marks, guess: float, end: Edge, mark_error: float
) -> tuple[Array, Edge, str]:
    """The outline, the terminus, and how it was found."""
    if marks.outline:
        outline = np.array(marks.outline)
    else:
        try:
            outline = find_outline(*_without(film, straight, even, end), straight, guess).points
        except FilmError:
            if marks.terminus is None:
                raise
            outline = np.zeros((0, 2))
    if marks.terminus is not None:
        return outline, Edge(straight.station(np.array(marks.terminus)), mark_error * straight.mm), "terminus marked"
    crossed = crossing(outline, straight, guess)
    if crossed is None:
        raise FilmError("the canal's line does not meet the root's outline: mark the terminus")
    return outline, crossed, "outline marked" if marks.outline else "terminus found"


def _without(film: Film, straight: Straight, even: Profile, end: Edge) -> tuple[Array, NDArray[np.bool_]]:
    """The picture with the filling replaced by the dentine behind it, and where that was."""
    rows, columns = film.size
    y, x = np.mgrid[0:rows, 0:columns]
    places = np.column_stack([x.ravel(), y.ravel()]).astype(float)
    away, at = cKDTree(straight.line).query(places, distance_upper_bound=1.6 / straight.mm)
    near = np.isfinite(away)
    at, places = at[near], places[near]
    u = np.einsum("ij,ij->i", places - straight.line[at], straight.normal[at]) * straight.mm
    half = even.width / 2 + 0.15
    inside = (np.abs(u - even.centre[at]) < half[at]) & (straight.s[at] < max(end.s + 0.15, straight.s[0]))
    picture = film.pixels.astype(float).copy()
    flat = picture.ravel()
    which = np.flatnonzero(near)[inside]
    flat[which] = even.level[at[inside]] + even.slope[at[inside]] * u[inside]
    hidden = np.zeros(rows * columns, bool)
    hidden[which] = True
    return flat.reshape(rows, columns), hidden.reshape(rows, columns)


def _quantity(value: float, errors: tuple[float, float], scale: Scale, how: str) -> Quantity:
    """A length with the errors of both ends and of the scale."""
    spread = float(np.sqrt(errors[0] ** 2 + errors[1] ** 2 + (value * scale.error / scale.value) ** 2))
    source = Source(Origin.MEASURED, f"radiograph, {scale.how}; {how}")
    return Quantity(value, value - Z90 * spread, value + Z90 * spread, "mm", source)


def _over(to_terminus: Quantity, reach: Quantity) -> Quantity:
    """A filling that goes on beyond the root ends where that ends."""
    if -reach.value > to_terminus.value:
        return to_terminus
    return Quantity(-reach.value, -reach.high, -reach.low, "mm", to_terminus.source)


def _taper(straight: Straight, measured: Profile, top: float, end: float, terminus: float) -> tuple[Quantity, Quantity]:
    """Growth of the width towards the crown, mm per mm, and the greatest fall of the width towards the crown, mm."""
    rows = np.flatnonzero(measured.there & (straight.s > top + 0.3) & (straight.s < end - 0.3))
    nothing = Quantity(0.0, -1.0, 1.0, "mm/mm"), Quantity(0.0, 0.0, 1.0, "mm")
    step = max(int(0.25 / straight.mm), 1)
    rows = rows[::step][::-1]
    if len(rows) < 5:
        return nothing
    z, width = terminus - straight.s[rows], measured.width[rows]
    for _ in range(2):
        p, cov = np.polyfit(z, width, 1, cov=True)
        rest = width - np.polyval(p, z)
        spread = 1.4826 * float(np.median(np.abs(rest))) + 1e-4
        keep = np.abs(rest) < 4 * spread
        if keep.sum() < 5:
            break
        z, width = z[keep], width[keep]
    error = float(np.sqrt(cov[0, 0]))
    even = uniform_filter1d(width, 4, mode="nearest")
    falls = np.maximum.accumulate(even) - even
    own = float(np.median(np.abs(np.diff(width)))) / 0.6745 / np.sqrt(2) / 2 + 0.01
    fall = max(float(falls.max()) - own, 0.0)
    return (
        Quantity(float(p[0]), float(p[0]) - Z90 * error, float(p[0]) + Z90 * error, "mm/mm"),
        Quantity(fall, max(fall - Z90 * 1.4 * own, 0.0), fall + Z90 * 1.4 * own, "mm"),
    )


def _stations(
    straight: Straight, seen: Density, end: Edge, top: Edge, terminus: float, plan: Plan | None
) -> tuple[StationFill, ...]:
    """Per millimetre from the terminus to the top of what is marked."""
    found = []
    last = max(terminus - top.s, terminus - float(straight.s[0]) - 0.5)
    z_end, z_top = terminus - end.s, terminus - top.s
    z_row = terminus - straight.s
    for low in np.arange(0.0, max(last, 1.0), 1.0):
        high = low + 1.0
        length = max(min(high, z_top) - max(low, z_end), 0.0)
        doubt = Z90 * float(
            np.hypot(end.error if low < z_end + 0.5 < high + 1 else 0.0, top.error if low - 1 < z_top < high else 0.0)
        )
        rows = (z_row >= low) & (z_row < high)
        voids = [v for v in seen.voids if low <= v.z < high]
        lost = sum(v.volume.value for v in voids)
        per = min(lost / max(float(seen.volume[rows].sum()) * straight.mm, 1e-9), 1.0)
        void = (
            Quantity(per * length, 0.6 * per * length, min(1.6 * per * length, 1.0), "")
            if voids
            else Quantity(0, 0, 0.02, "")
        )
        share = length - void.value
        unfilled, planned = _bounded(1 - length, doubt), planned_share(plan, low, high)
        found.append(StationFill(float(low), float(high), _bounded(share, doubt), void, unfilled, None, planned))
    return tuple(found)


def _bounded(value: float, doubt: float) -> Quantity:
    value = float(np.clip(value, 0, 1))
    return Quantity(value, max(value - doubt, 0.0), min(value + doubt, 1.0), "")


def _expected(plan: Plan | None) -> tuple[Quantity | None, ...]:
    if plan is None:
        return ()
    known = {(p.portal.z, p.portal.kind): p for p in plan.fill.portals}
    return tuple(
        known[(p.z, p.kind)].sealer if (p.z, p.kind) in known else None for p in plan.canal.portals
    )  # fmt: skip


def _not_seen(seen: Density, past: Beyond) -> tuple[str, ...]:
    told = [
        f"voids smaller than {seen.smallest.value:.2f} mm ({seen.smallest.low:.2f} to {seen.smallest.high:.2f})",
        "gaps at the wall towards cheek and tongue: a film shows one direction",
        "side branches towards cheek and tongue",
    ]
    if past.sight is not Sight.THERE:
        told.append("a film of sealer beyond the root that is fainter than the bone before it")
    return tuple(told)


def _notes(film: Film, top: Edge, end: Edge, overlay: Overlay | None, marks: Marks) -> tuple[str, ...]:
    told = [w for w in film.warnings if w != NO_SPACING]
    if not end.sure and marks.end is None:
        told.append("the end of the filling is faint: look at it and mark it")
    if not top.sure:
        told.append("the top of the filling lies above the first mark: the length filled is at least this")
    if overlay is not None and overlay.poor:
        told.append("the plan does not lie well on this film: another direction of the beam, or another canal")
    return tuple(told)


def _drawn(
    assessment: Assessment, straight: Straight, even: Profile, seen: Density, outline: Array, end: Edge, top: Edge,
    terminus: Edge, overlay: Overlay | None,
) -> FilmReading:  # fmt: skip
    mm = straight.mm
    rows = (straight.s >= top.s) & (straight.s <= end.s)
    middle = straight.line + straight.normal * (even.centre / mm)[:, None]
    half = straight.normal * (even.width / 2 / mm)[:, None]
    inside = np.abs(straight.u[None, :] - even.centre[:, None]) < 0.35 * even.width[:, None]
    grey = np.nan_to_num(straight.grey - even.dentine(straight.u))
    count = np.maximum(inside.sum(1), 1)
    places = [
        straight.pixel(terminus.s - v.z, v.across + float(np.interp(terminus.s - v.z, straight.s, even.centre)))
        for v in seen.voids
    ]
    return FilmReading(
        assessment, middle[rows], (middle - half)[rows], (middle + half)[rows], outline, straight.pixel(end.s),
        straight.pixel(top.s), straight.pixel(terminus.s), (terminus.s - straight.s)[rows],
        ((grey * inside).sum(1) / count)[rows], ((even.shadow(straight.u) * inside).sum(1) / count)[rows],
        np.array(places).reshape(-1, 2), overlay,
    )  # fmt: skip
