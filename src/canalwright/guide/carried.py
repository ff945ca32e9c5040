"""What was done by one plan, told so that it stays true beside the steps of another."""

from collections.abc import Iterable

from canalwright.guide.session import DEPTH, RETIME, STOPS, Event, apply, begin
from canalwright.guide.steps import Step


def carried(steps: tuple[Step, ...], began: float, events: Iterable[Event]) -> tuple[Event, ...]:
    """The events of a session of `steps`, each step that was done with the depth (mm) it was done at; times and stops changed on the way
    are left out.

    A step that was done as planned has no depth of its own in the log; folded over the steps of another plan it would take that
    plan's. Raises ValueError without steps.
    """
    session, told = begin(steps, began), []
    for event in events:
        after = apply(session, event)
        if (
            len(after.done) > len(session.done)
            and session.depth is None
            and (depth := after.done[-1].depth) is not None
        ):
            told.append(Event(DEPTH, event.moment, depth=depth))
        if event.kind not in (RETIME, STOPS):
            told.append(event)
        session = after
    return tuple(told)
