"""A session at the chair as a pure state machine: a state, an event, the next state. The clock is an argument.

    READY --go--> RUNNING --go--> next step        (a step with a timer)
    READY --go--> next step                        (a step without)
    RUNNING --pause--> PAUSED --pause or go--> RUNNING
    RUNNING, PAUSED --back--> READY of this step   (the timer starts anew)
    READY --back--> READY of the step before       (what was noted of it is withdrawn)

Before the cone is placed it is tried in: the first step is `trying` until TRIED says that it fits. A log without it (of a session that
began before there was a try-in) leads to the same steps.

What follows may get other times (RETIME) or be laid anew with other stops (STOPS); back at a step, it is as it was when that step came up.

Moments are seconds of any clock that goes forwards; one that goes backwards never gives a negative time.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

from canalwright.guide.steps import Step

GO, BACK, PAUSE, DEPTH, NOTE, RETIME, TRIED, STOPS = "go", "back", "pause", "depth", "note", "retime", "tried", "stops"
"""What may happen at the chair: the next step, the one before, a pause or its end, a depth reached, a note, another time for a timer,
the cone tried in, other stops for the rest."""
KINDS = frozenset({GO, BACK, PAUSE, DEPTH, NOTE, RETIME, TRIED, STOPS})
MOST_STEPS = 200


class Phase(StrEnum):
    """Where a step stands."""

    READY = "ready"
    RUNNING = "running"
    PAUSED = "paused"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class Laid:
    """An act of the rest: like which act of the plan, of which round or portion (0: none), how deep (mm) and with which tool."""

    act: int
    number: int = 0
    depth: float | None = None
    tool: str = ""

    @classmethod
    def of(cls, step: Step) -> "Laid":
        """A step as it is laid."""
        return cls(step.act, step.number, step.depth, step.tool)


@dataclass(frozen=True)
class Event:
    """Something that happened at `moment`: `depth` mm for DEPTH, `text` for NOTE, seconds by step for RETIME, for STOPS all acts after the
    one that is up.

    Raises ValueError for an unknown kind, or a DEPTH, RETIME or STOPS whose numbers cannot be.
    """

    kind: str
    moment: float
    depth: float | None = None
    text: str = ""
    seconds: Mapping[int, float] = field(default_factory=dict)
    rest: tuple[Laid, ...] = ()

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"unknown event {self.kind!r}; there are {', '.join(sorted(KINDS))}")
        if self.kind == DEPTH and (self.depth is None or not 0 < self.depth < 60):
            raise ValueError(f"depth {self.depth} is outside 0 to 60 mm")
        if any(not 0 < s <= 600 for s in self.seconds.values()):
            raise ValueError("seconds of a step are more than 0 and at most 600")
        if len(self.rest) > MOST_STEPS or any(a.depth is not None and not 0 < a.depth < 60 for a in self.rest):
            raise ValueError(f"a rest has at most {MOST_STEPS} acts, their depths within 0 to 60 mm")


@dataclass(frozen=True)
class Done:
    """What was really done in one step, which stands for an `act` of the plan: `waited` s before it began, `seconds` it took of those
    `planned`, at `depth` mm where `aim` was asked for, with `notes`."""

    step: int
    act: int
    began: float
    ended: float
    waited: float
    seconds: float
    planned: float | None
    aim: float | None
    depth: float | None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Session:
    """Where the work stands. `entered`: when this step came up; `since`: when its timer (re)started; `before`: s it had run till then;
    `tried`: whether the cone was tried in. `steps` are those of the plan (`base`) as they were changed on the way; `laid`: as they were
    when this step came up; `stood`: the same for each that was done."""

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
    base: tuple[Step, ...] = ()
    laid: tuple[Step, ...] = ()
    stood: tuple[tuple[Step, ...], ...] = ()

    @property
    def trying(self) -> bool:
        """Whether the cone is to be tried in before it is placed."""
        return not self.tried and not self.done and self.step is not None and self.step.kind == "place"

    @property
    def step(self) -> Step | None:
        """The step that is up; None when all is done."""
        return self.steps[self.index] if self.index < len(self.steps) else None

    @property
    def following(self) -> Step | None:
        """The act after the one that is up, the first step after the try-in; None at the last one."""
        at = self.index + (not self.trying)
        return self.steps[at] if at < len(self.steps) else None

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
    return Session(steps, entered=now, base=steps, laid=steps)


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
    return _laid_anew(session, event.rest) if event.kind == STOPS else _retimed(session, event.seconds)


def _go(session: Session, now: float) -> Session:
    step = session.step
    assert step is not None
    if session.phase is Phase.PAUSED or (session.phase is Phase.READY and step.timed):
        return replace(session, phase=Phase.RUNNING, since=now, began=now if session.began is None else session.began)
    began = session.entered if session.began is None else session.began
    seconds = session.elapsed(now) if step.timed else max(now - began, 0.0)
    done = Done(
        step=session.index,
        act=step.act,
        began=began,
        ended=max(now, began),
        waited=max(began - session.entered, 0.0),
        seconds=seconds,
        planned=step.seconds,
        aim=step.depth,
        depth=session.depth if session.depth is not None else step.depth,
        notes=session.notes,
    )
    behind = replace(session, done=(*session.done, done), stood=(*session.stood, session.laid))
    after = _at(behind, session.index + 1, session.steps, now)
    return replace(after, phase=Phase.DONE) if after.step is None else after


def _back(session: Session, now: float) -> Session:
    if session.phase in (Phase.RUNNING, Phase.PAUSED):
        return _at(session, session.index, session.laid, now)
    if not session.done:
        return replace(session, tried=False, entered=now) if session.tried else session
    before = replace(session, done=session.done[:-1], stood=session.stood[:-1])
    return _at(before, session.index - 1, session.stood[-1], now)


def _pause(session: Session, now: float) -> Session:
    if session.phase is Phase.RUNNING:
        return replace(session, phase=Phase.PAUSED, before=session.elapsed(now), since=None)
    return _go(session, now) if session.phase is Phase.PAUSED else session


def _at(session: Session, index: int, steps: tuple[Step, ...], now: float) -> Session:
    return replace(
        session, steps=steps, laid=steps, index=index, phase=Phase.READY, entered=now, began=None, since=None, before=0.0, depth=None,
        notes=(),
    )  # fmt: skip


def _laid_anew(session: Session, rest: tuple[Laid, ...]) -> Session:
    """Other acts after the one that is up, each like one of the plan; as it is where the plan has no such act."""
    if any(not 0 <= a.act < len(session.base) for a in rest):
        return session
    acts = (session.base[a.act].laid(a.depth, a.tool, a.number) for a in rest)
    return replace(session, steps=(*session.steps[: session.index + 1], *acts))


def _retimed(session: Session, seconds: Mapping[int, float]) -> Session:
    """New times for steps that have not begun; the others keep theirs."""
    first = session.index + (session.phase is not Phase.READY)
    steps = tuple(
        replace(s, seconds=float(seconds[i])) if i >= first and s.timed and i in seconds else s
        for i, s in enumerate(session.steps)
    )
    return replace(session, steps=steps)
