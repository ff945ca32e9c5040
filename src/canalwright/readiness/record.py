"""What was measured and done before the filling, beside the canal itself; every part of it may be missing."""

from dataclasses import dataclass, field

from canalwright.anatomy import Canal
from canalwright.anatomy.measurements import iso_file
from canalwright.instruments import File
from canalwright.irrigation import SOLUTIONS, Bath
from canalwright.readiness.gauging import GaugeTrial
from canalwright.readiness.length import Sounding
from canalwright.readiness.points import PaperPointReading, read_points, sounding_of
from canalwright.shaping import Pass, sequence


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


@dataclass(frozen=True, slots=True)
class FileUsed:
    """One file that shaped the canal: ISO size and taper, and how far [mm] short of the end of the preparation it was taken.

    Raises ValueError for a size or taper that no file has, or a place outside 0 to 25 mm.
    """

    size: int
    taper: float
    short: float = 0.0

    def __post_init__(self) -> None:
        if not 0 <= self.short <= 25:
            raise ValueError(f"file taken to {self.short:g} mm short of the end, allowed 0 to 25 mm")
        if not 0 <= self.taper <= 0.2:
            raise ValueError(f"taper {self.taper:g}, allowed 0 to 0.2 mm per mm")
        _ = self.file

    @property
    def file(self) -> File:
        """The file itself, ISO 3630-1."""
        return iso_file(self.size, self.taper)


@dataclass(frozen=True)
class Record:
    """Measurements of the length, paper points, gauges, files and irrigation of one canal; `age` of the patient in years."""

    soundings: tuple[Sounding, ...] = ()
    points: tuple[PaperPointReading, ...] = ()
    trials: tuple[GaugeTrial, ...] = ()
    irrigated: Irrigated | None = None
    age: float | None = None
    files: tuple[FileUsed, ...] = ()

    @property
    def all_soundings(self) -> tuple[Sounding, ...]:
        """The soundings, and the paper points as one of them."""
        dry = sounding_of(read_points(self.points)) if self.points else None
        return self.soundings if dry is None else (*self.soundings, dry)

    def passes(self, canal: Canal) -> tuple[Pass, ...]:
        """What each recorded file did in this canal, in order; one taken beyond the orifice counts as taken to it."""
        top = float(canal.native.z[-1])
        return sequence(canal, [(one.file, min(canal.end + one.short, top)) for one in self.files])
