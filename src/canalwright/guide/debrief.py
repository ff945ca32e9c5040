"""What was done against what was planned, step by step."""

from dataclasses import dataclass

from canalwright.guide.session import Session

LATE, DEEP = 0.5, 0.5
"""Differences worth a word: seconds of an activation (a quarter of the time for other timers), and mm."""


@dataclass(frozen=True, slots=True)
class Line:
    """One step: planned and done seconds (None without a timer), planned and done depth, and whether either is worth a word."""

    step: int
    kind: str
    planned: float | None
    seconds: float | None
    aim: float | None
    depth: float | None
    notes: tuple[str, ...]
    off: bool


def debrief(session: Session) -> tuple[Line, ...]:
    """A line for each step that was done."""
    lines = []
    for entry in session.done:
        step = session.steps[entry.step]
        seconds = entry.seconds if entry.planned is not None else None
        allowed = LATE if step.kind == "heat" else max(1.0, 0.25 * (entry.planned or 0.0))
        late = seconds is not None and entry.planned is not None and abs(seconds - entry.planned) > allowed
        if step.kind == "pause" and seconds is not None and entry.planned is not None:
            late = seconds < entry.planned - allowed
        moved = entry.aim is not None and entry.depth is not None and abs(entry.depth - entry.aim) > DEEP
        lines.append(
            Line(
                entry.step,
                step.kind,
                entry.planned,
                seconds,
                entry.aim,
                entry.depth,
                entry.notes,
                late or moved or bool(entry.notes),
            )
        )
    return tuple(lines)
