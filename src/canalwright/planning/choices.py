"""`Choices`: what the clinician may choose in a plan."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Choices:
    """What the clinician may choose; None leaves it to the planner. Temperatures deg C, times s, lengths mm.

    `wall_change` and `width_change` [mm] serve the what-if: they are added to the measured wall and width.
    """

    cone: str | None = None
    trim: float | None = None
    carrier: str | None = None
    temperature: float | None = None
    activation: float | None = None
    pluggers: tuple[str, str, str] | None = None
    force: float = 20.0
    rounds: int | None = None
    hold: float | None = None
    last_hold: float | None = None
    pause: float = 8.0
    sealer: str | None = None
    backfill_temperature: float = 80.0
    wall_change: float = 0.0
    width_change: float = 0.0
    draws: int = 1000
    seed: int = 20
