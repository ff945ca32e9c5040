"""A session at the chair as a pure state machine: a state, an event, the next state. The clock is an argument.

    READY --go--> RUNNING --go--> next step        (a step with a timer)
    READY --go--> next step                        (a step without)
    RUNNING --pause--> PAUSED --pause or go--> RUNNING
    RUNNING, PAUSED --back--> READY of this step   (the timer starts anew)
    READY --back--> READY of the step before       (what was noted of it is withdrawn)

Before the cone is placed it is tried in: the first step is `trying` until TRIED says that it fits. A log without it (of a session that
began before there was a try-in) leads to the same steps.

Moments are seconds of any clock that goes forwards; one that goes backwards never gives a negative time.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

from canalwright.guide.steps import Step

GO, BACK, PAUSE, DEPTH, NOTE, RETIME, TRIED = "go", "back", "pause", "depth", "note", "retime", "tried"
"""What may happen at the chair: the next step, the one before, a pause or its end, a depth reached, a note, another time for a timer,
the cone tried in."""
KINDS = frozenset({GO, BACK, PAUSE, DEPTH, NOTE, RETIME, TRIED})


class Phase(StrEnum):
    """Where a step stands."""

    READY = "ready"
    RUNNING = "running"
    PAUSED = "paused"
    DONE = "done"


@dataclass(frozen=True)
class Event:
    """Something that happened at `moment`: `depth` mm for DEPTH, `text` for NOTE, seconds by step for RETIME.

    Raises ValueError for an unknown kind, or a DEPTH or RETIME without its numbers.
    """

    kind: str
    moment: float
    depth: float | None = None
    text: str = ""
    seconds: Mapping[int, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"unknown event {self.kind!r}; there are {', '.join(sorted(KINDS))}")
        if self.kind == DEPTH and (self.depth is None or not 0 < self.depth < 60):
            raise ValueError(f"depth {self.depth} is outside 0 to 60 mm")
        if any(not 0 < s <= 600 for s in self.seconds.values()):
            raise ValueError("seconds of a step are more than 0 and at most 600")


@dataclass(frozen=True)
class Done:
    """What was really done in one step: `waited` s before it began, `seconds` it took, at `depth` mm, with `notes`."""

    step: int
    began: float
    ended: float
    waited: float
    seconds: float
    planned: float | None
    depth: float | None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Session:
    """Where the work stands. `entered`: when this step came up; `since`: when its timer (re)started; `before`: s it had run till then;
    `tried`: whether the cone was tried in."""

    steps: tuple[Step, ...]
    index: int = 0
    phase: Phase = Phase.READY
    entered: float = 0.0
    began: float | None = None
    since: float | None = None
    before: float = 0.0
    depth: float | None = None
    notes: tuple[str, ...] = ()
    done: tuple[Done, ...] = ()
    tried: bool = False

    @property
    def trying(self) -> bool:
        """Whether the cone is to be tried in before it is placed."""
        return not self.tried and not self.done and self.step is not None and self.step.kind == "place"

    @property
    def step(self) -> Step | None:
        """The step that is up; None when all is done."""
        return self.steps[self.index] if self.index < len(self.steps) else None

    def elapsed(self, now: float) -> float:
        """Seconds that the timer of this step has run."""
        return self.before + (max(now - self.since, 0.0) if self.since is not None else 0.0)

    def left(self, now: float) -> float | None:
        """Seconds until the timer is up, negative after; None without a timer."""
        step = self.step
        return None if step is None or step.seconds is None else step.seconds - self.elapsed(now)


def begin(steps: tuple[Step, ...], now: float) -> Session:
    """A session at its first step. Raises ValueError without steps."""
    if not steps:
        raise ValueError("a session needs steps")
    return Session(steps, entered=now)


def fold(steps: tuple[Step, ...], began: float, events: Iterable[Event]) -> Session:
    """The session that these events led to."""
    session = begin(steps, began)
    for event in events:
        session = apply(session, event)
    return session


def apply(session: Session, event: Event) -> Session:
    """The session after an event; one that means nothing now leaves it as it is."""
    if event.kind == BACK:
        return _back(session, event.moment)
    if session.phase is Phase.DONE:
        return session
    if event.kind == GO:
        return _go(session, event.moment)
    if event.kind == PAUSE:
        return _pause(session, event.moment)
    if event.kind == DEPTH:
        return replace(session, depth=event.depth)
    if event.kind == NOTE:
        return replace(session, notes=(*session.notes, event.text)) if event.text else session
    if event.kind == TRIED:
        return replace(session, tried=True, entered=event.moment) if session.trying else session
    return _retimed(session, event.seconds)


def _go(session: Session, now: float) -> Session:
    step = session.step
    assert step is not None
    if session.phase is Phase.PAUSED or (session.phase is Phase.READY and step.timed):
        return replace(session, phase=Phase.RUNNING, since=now, began=now if session.began is None else session.began)
    began = session.entered if session.began is None else session.began
    seconds = session.elapsed(now) if step.timed else max(now - began, 0.0)
    done = Done(
        step=session.index,
        began=began,
        ended=max(now, began),
        waited=max(began - session.entered, 0.0),
        seconds=seconds,
        planned=step.seconds,
        depth=session.depth if session.depth is not None else step.depth,
        notes=session.notes,
    )
    after = _at(replace(session, done=(*session.done, done)), session.index + 1, now)
    return replace(after, phase=Phase.DONE) if after.step is None else after


def _back(session: Session, now: float) -> Session:
    if session.phase in (Phase.RUNNING, Phase.PAUSED):
        return _at(session, session.index, now)
    if not session.done:
        return replace(session, tried=False, entered=now) if session.tried else session
    return _at(replace(session, done=session.done[:-1]), session.index - 1, now)


def _pause(session: Session, now: float) -> Session:
    if session.phase is Phase.RUNNING:
        return replace(session, phase=Phase.PAUSED, before=session.elapsed(now), since=None)
    return _go(session, now) if session.phase is Phase.PAUSED else session


def _at(session: Session, index: int, now: float) -> Session:
    return replace(
        session, index=index, phase=Phase.READY, entered=now, began=None, since=None, before=0.0, depth=None, notes=()
    )  # fmt: skip


def _retimed(session: Session, seconds: Mapping[int, float]) -> Session:
    """New times for steps that have not begun; the others keep theirs."""
    first = session.index + (session.phase is not Phase.READY)
    steps = tuple(
        replace(s, seconds=float(seconds[i])) if i >= first and s.timed and i in seconds else s
        for i, s in enumerate(session.steps)
    )
    return replace(session, steps=steps)
