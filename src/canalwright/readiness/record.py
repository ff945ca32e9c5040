"""What was measured and done before the filling, beside the canal itself; every part of it may be missing."""

from dataclasses import dataclass, field

from canalwright.irrigation import SOLUTIONS, Bath
from canalwright.readiness.gauging import GaugeTrial
from canalwright.readiness.length import Sounding
from canalwright.readiness.points import PaperPointReading, read_points, sounding_of


@dataclass(frozen=True)
class Irrigated:
    """Irrigation as it was done: the bath, seconds of hypochlorite and of chelator, rate [mm3/s], solutions in order.

    None: not recorded. Raises ValueError for a time below 0 or a solution that is not known.
    """

    bath: Bath = field(default_factory=Bath)
    hypochlorite: float | None = None
    chelator: float | None = None
    rate: float | None = None
    order: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for name, seconds in (("hypochlorite", self.hypochlorite), ("chelator", self.chelator)):
            if seconds is not None and not 0 <= seconds <= 86400:
                raise ValueError(f"{name} for {seconds} s, allowed 0 to 86400 s")
        if self.rate is not None and not 1 <= self.rate <= 600:
            raise ValueError(f"rate {self.rate} mm3/s, allowed 1 to 600 (0.001 to 0.6 mL/s)")
        for name in self.order:
            if name not in SOLUTIONS:
                raise ValueError(f"no solution named {name!r}; there are {', '.join(SOLUTIONS)}")


@dataclass(frozen=True)
class Record:
    """Measurements of the length, paper points, gauges and irrigation of one canal; `age` of the patient in years."""

    soundings: tuple[Sounding, ...] = ()
    points: tuple[PaperPointReading, ...] = ()
    trials: tuple[GaugeTrial, ...] = ()
    irrigated: Irrigated | None = None
    age: float | None = None

    @property
    def all_soundings(self) -> tuple[Sounding, ...]:
        """The soundings, and the paper points as one of them."""
        dry = sounding_of(read_points(self.points)) if self.points else None
        return self.soundings if dry is None else (*self.soundings, dry)
