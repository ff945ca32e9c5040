"""The words of an assessment: what came of a filling, line by line, each number with its interval."""

from collections.abc import Iterator

from canalwright.assessment import Assessment, Residual, Sight
from canalwright.assessment.habits import Habit
from canalwright.assessment.restoration import Restoration
from canalwright.planning import CAUTION
from canalwright.quantities import Quantity


def assessment_text(found: Assessment, restored: Restoration | None = None, habits: tuple[Habit, ...] = ()) -> str:
    """The assessment as people read it in a terminal."""
    return "\n".join([*_lines(found), *_restored(restored), *_habits(habits), "", CAUTION])


def length_words(to_terminus: Quantity) -> str:
    """Where the filling ends: short of the terminus, at it, or beyond."""
    q = to_terminus
    if q.high < 0:
        return f"{-q.value:.1f} mm beyond the terminus ({-q.high:.1f} to {-q.low:.1f})"
    if q.low > 0:
        return f"{q.value:.1f} mm short of the terminus ({q.low:.1f} to {q.high:.1f})"
    return f"at the terminus, give or take ({q.value:.1f} mm short, {q.low:.1f} to {q.high:.1f})"


def percent(q: Quantity, digits: int = 0) -> str:
    """A share as percent with its interval."""
    return f"{100 * q.value:.{digits}f} % ({100 * q.low:.{digits}f} to {100 * q.high:.{digits}f})"


def gap_words(line: Residual) -> str:
    """Planned, done, came out, and the gap."""
    done = "" if line.done is None else f"; done {line.done:.1f}"
    if line.came is None or line.gap is None:
        return f"planned {_number(line.planned)}{done}; not seen"
    return f"planned {_number(line.planned)}{done}; came out {_number(line.came)}; gap {_number(line.gap)}"


def _number(q: Quantity) -> str:
    if q.unit == "":
        return percent(q, 1)
    return f"{q.value:.1f} ({q.low:.1f} to {q.high:.1f}) {q.unit}"


def _lines(found: Assessment) -> Iterator[str]:
    yield f"{found.tooth} {found.canal}: {found.grade.word}, chance that all criteria are met {percent(found.grade.chance)}"
    yield f"  from a {found.basis}, {found.how}"
    yield f"  filling ends {length_words(found.to_terminus)}"
    for c in found.grade.criteria:
        yield f"  {c.name}: chance {percent(c.chance)} of {c.limit} [{c.source}]"
    yield f"  length filled {_number(found.length_filled)}"
    if found.taper is not None:
        yield f"  taper {100 * found.taper.value:.1f} % ({100 * found.taper.low:.1f} to {100 * found.taper.high:.1f})"
    yield f"  voids seen: {len(found.voids) or 'none'}; smallest that would be seen {found.smallest_void.format(2)}"
    for v in found.voids:
        yield f"    at {v.z:.1f} mm from the terminus, {v.size.format(2)}, {v.volume.format(4)}"
    if found.void_share is not None:
        yield f"  voids, share of the filling: {percent(found.void_share, 1)}"
    yield from _stations(found)
    for p in found.portals:
        seen = f"filled {_number(p.filled)}" if p.sight is Sight.THERE and p.filled is not None else p.sight.value
        yield f"  {p.name} at {p.z:.1f} mm: {seen}"
    past = found.beyond
    told = _number(past.reach) if past.sight is Sight.THERE and past.reach is not None else past.sight.value
    yield f"  filling past the root: {told}"
    for line in found.residuals:
        yield f"  {line.words}: {gap_words(line)}"
    yield "  not seen, which is not the same as absent:"
    for what in found.not_seen:
        yield f"    {what}"
    for note in found.notes:
        yield f"  note: {note}"


def _stations(found: Assessment) -> Iterator[str]:
    """Stretch by stretch from the terminus up, where volumes were measured."""
    rows = [s for s in found.stations if s.volume is not None]
    if rows:
        yield "  by station (mm from the terminus): filled, void, unfilled; volume of the canal; planned to be filled"
    for s in rows:
        shares = ", ".join(percent(q) for q in (s.filled, s.void, s.unfilled))
        planned = "" if s.planned is None else f"; planned {percent(s.planned)}"
        assert s.volume is not None
        yield f"    {s.low:.1f} to {s.high:.1f}: {shares}; {s.volume.format(3)}{planned}"


def _restored(found: Restoration | None) -> Iterator[str]:
    if found is None:
        return
    yield ""
    if found.best is None:
        yield "Restoration: no post"
    else:
        p = found.best
        yield (
            f"Restoration: post of {p.diameter:.1f} mm down to {_number(p.depth)} from the reference point, "
            f"{_number(p.length)} in the canal, {_number(p.left)} of filling left below it"
        )
    for told in found.told:
        sign = "yes" if told.holds else "not known" if told.holds is None else "NO"
        yield f"  {told.rule}: {sign}; {told.words}"
    yield f"  left out: {'; '.join(found.leaves_out)}"


def _habits(habits: tuple[Habit, ...]) -> Iterator[str]:
    if habits:
        yield ""
        yield "Where your own stops land (positive: deeper or, for ends, shorter than planned); shown, never applied:"
    for h in habits:
        yield f"  {h.name}: {h.cases} cases, on average {_number(h.centre)}, the next one {_number(h.next_one)}"
