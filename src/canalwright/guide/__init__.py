"""The guide: one step at a time, what was really done, and what follows from it for the rest.

    steps = guide.steps_of(plan)
    session = guide.begin(steps, now)
    for event in guide.taken(plan, session, guide.Event(guide.GO, now)):  # what happened, and the stops that the rest has after it
        session = guide.apply(session, event)                         # pure: the clock comes from outside
    forecast = guide.forecast(plan, session)                          # the rest, re-planned from what was done

A session is nothing but its events, folded: write the events down and the session survives anything.
"""

from canalwright.guide.acts import carried_out
from canalwright.guide.carried import carried
from canalwright.guide.concerns import concerning
from canalwright.guide.debrief import Line, debrief
from canalwright.guide.depths import Doubt, doubt, doubts
from canalwright.guide.forecast import Forecast, forecast
from canalwright.guide.laying import anew, laid, packs, taken
from canalwright.guide.session import (
    BACK,
    DEPTH,
    GO,
    NOTE,
    PAUSE,
    RETIME,
    STOPS,
    TRIED,
    Done,
    Event,
    Laid,
    Phase,
    Session,
    apply,
    begin,
    fold,
)
from canalwright.guide.steps import Step, steps_of

__all__ = [
    "BACK",
    "DEPTH",
    "GO",
    "NOTE",
    "PAUSE",
    "RETIME",
    "STOPS",
    "TRIED",
    "Done",
    "Doubt",
    "Event",
    "Forecast",
    "Laid",
    "Line",
    "Phase",
    "Session",
    "Step",
    "anew",
    "apply",
    "begin",
    "carried",
    "carried_out",
    "concerning",
    "debrief",
    "doubt",
    "doubts",
    "fold",
    "forecast",
    "laid",
    "packs",
    "steps_of",
    "taken",
]
