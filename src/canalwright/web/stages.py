"""The way from the first measurement to the last recall: its stages, the views of each, and what is said of how far one is."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class State(StrEnum):
    """How far a stage is."""

    DONE = "done"
    DOUBTFUL = "doubtful"
    MISSING = "missing"


@dataclass(frozen=True, slots=True)
class Stage:
    """A part of the job, and the `views` of it: name in the address, and title."""

    key: str
    title: str
    views: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Mark:
    """What is said of a stage: its state, and why, as a text of the catalogue with its values."""

    state: State
    why: str
    values: Mapping[str, object] = field(default_factory=dict)


STAGES = (
    Stage("tooth", "Tooth", (("scan", "Scan"), ("measure", "Measure"))),
    Stage(
        "ready",
        "Ready?",
        (("ready", "Verdict and notes"), ("points", "Paper points and gauges"), ("radiograph", "Radiograph")),
    ),
    Stage(
        "plan",
        "Plan",
        (("plan", "Plan"), ("play", "Play"), ("solid", "3-D"), ("heat", "Heat"), ("compare", "Compare")),
    ),
    Stage("chair", "Chair", (("chair", "Chair"), ("practice", "Practise"))),
    Stage("check", "Check", (("check", "Film"), ("checkscans", "Two scans"))),
)
FIRST = {"tooth": "measure"}
"""The view that a stage opens with, where it is not its first."""
AFTER = (("/records/recalls", "Recall"), ("/records/outcomes", "Outcomes"))
"""What comes after the filling; it lives in the records."""


def stage_of(view: str) -> Stage | None:
    """The stage that a view belongs to."""
    return next((stage for stage in STAGES if view in dict(stage.views)), None)
