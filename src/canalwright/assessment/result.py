"""`Assessment`: what came of a filling, as far as one image, or two scans, can tell.

Lengths mm, volumes mm3, stations `z` from the terminus, growing coronally. `to_terminus` is positive where the filling ends
short of the terminus and negative where it goes beyond. What an image cannot show is listed in `not_seen`: it is never
counted as absent.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from canalwright.quantities import Quantity

VERSION = 2


class Sight(StrEnum):
    """What an image says of something: it is there, it is not, or this image cannot tell."""

    THERE = "there"
    ABSENT = "absent"
    NOT_SEEN = "not seen"


@dataclass(frozen=True, slots=True)
class Criterion:
    """One published criterion: `chance` (0 to 1, with its interval) that it is met, `limit` in words, `source`."""

    name: str
    chance: Quantity
    limit: str
    source: str

    @property
    def met(self) -> bool | None:
        """True or False where nine chances in ten say so, None between."""
        return True if self.chance.value >= 0.9 else False if self.chance.value <= 0.1 else None


@dataclass(frozen=True, slots=True)
class Grade:
    """The criteria one by one, and the chance that all are met. `word` is adequate, inadequate or uncertain."""

    criteria: tuple[Criterion, ...]
    chance: Quantity

    @property
    def word(self) -> str:
        """The grade in a word: adequate or inadequate where nine chances in ten say so."""
        return "adequate" if self.chance.value >= 0.9 else "inadequate" if self.chance.value <= 0.1 else "uncertain"


@dataclass(frozen=True, slots=True)
class StationFill:
    """Between stations `low` and `high`: shares (0 to 1) of the lumen that are filled, void within the filling, and unfilled.

    `planned`: share that the plan means to be filled; None without a plan. `volume` of the lumen, mm3 (None on a radiograph).
    """

    low: float
    high: float
    filled: Quantity
    void: Quantity
    unfilled: Quantity
    volume: Quantity | None = None
    planned: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Void:
    """A void that is seen: its middle `z`, `across` the line (positive to the right of the way apically), `size` (diameter
    of a sphere that shows so), `volume` mm3, and `signal` over noise.
    """

    z: float
    across: float
    size: Quantity
    volume: Quantity
    signal: float


@dataclass(frozen=True, slots=True)
class PortalSeen:
    """A side branch: whether filling is seen in it, how far (mm; None when not seen), its volume, and what the plan expected."""

    name: str
    z: float
    sight: Sight
    filled: Quantity | None = None
    volume: Quantity | None = None
    planned: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Beyond:
    """Filling beyond the root: whether it is seen, how far it reaches past the surface, how large it shows (mm2) or is (mm3)."""

    sight: Sight
    reach: Quantity | None = None
    area: Quantity | None = None
    volume: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Residual:
    """One number on its way: `planned` (predicted), `done` at the chair, `came` out; `gap` = came - planned with its interval."""

    key: str
    words: str
    planned: Quantity
    done: float | None
    came: Quantity | None
    gap: Quantity | None

    @property
    def within(self) -> bool | None:
        """Whether what came out lies where the plan said; None when nothing came out to compare."""
        if self.came is None:
            return None
        return bool(self.came.low <= self.planned.high and self.planned.low <= self.came.high)


@dataclass(frozen=True)
class Assessment:
    """The finished filling of one canal.

    `basis` is radiograph, cone-beam scan or micro-CT; `how` says by what scale or registration. `length_filled` from end
    to top of the filling along the canal. `taper` mm per mm. `smallest_void`: diameter of the smallest void that this image would
    show; smaller ones are in `not_seen`. `void_share` of the filling (None where the image cannot say). `residuals` against a plan.
    """

    tooth: int
    canal: str
    basis: str
    how: str
    to_terminus: Quantity
    length_filled: Quantity
    grade: Grade
    taper: Quantity | None
    void_share: Quantity | None
    stations: tuple[StationFill, ...]
    voids: tuple[Void, ...]
    portals: tuple[PortalSeen, ...]
    beyond: Beyond
    smallest_void: Quantity
    not_seen: tuple[str, ...]
    residuals: tuple[Residual, ...] = ()
    notes: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """All of it in plain JSON types, each number with its interval; `version` 2 (in 1 a planned share was a bare number)."""
        return {"version": VERSION, **{name: _plain(getattr(self, name)) for name in self.__dataclass_fields__}}


def _plain(value: Any) -> Any:
    if isinstance(value, Quantity):
        return value.as_json()
    if isinstance(value, float):
        return float(value)
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, tuple):
        return [_plain(v) for v in value]
    if hasattr(value, "__dataclass_fields__"):
        made = {name: _plain(getattr(value, name)) for name in value.__dataclass_fields__}
        if isinstance(value, Grade):
            made["word"] = value.word
        if isinstance(value, Criterion):
            made["met"] = value.met
        if isinstance(value, Residual):
            made["within"] = value.within
        return made
    return value
