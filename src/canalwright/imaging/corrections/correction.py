"""One correction: what is changed where, by whom, when and why. Immutable; points in LPS mm."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.errors import CorrectionError

Point = tuple[float, float, float]
LARGEST = 15.0
"""Greatest radius of a barrier, mm."""


class Kind(StrEnum):
    """What can be corrected."""

    MOVE_POINT = "move point"
    MOVE_ORIFICE = "move orifice"
    MOVE_TERMINUS = "move terminus"
    ADD_CANAL = "add canal"
    ADD_PORTAL = "add portal"
    REMOVE_CANAL = "remove canal"
    REMOVE_PORTAL = "remove portal"
    BARRIER = "barrier"


POINTS = {
    Kind.MOVE_POINT: (2, 2),
    Kind.MOVE_ORIFICE: (1, 1),
    Kind.MOVE_TERMINUS: (1, 1),
    Kind.ADD_CANAL: (2, 60),
    Kind.ADD_PORTAL: (2, 60),
    Kind.REMOVE_CANAL: (0, 0),
    Kind.REMOVE_PORTAL: (1, 1),
    Kind.BARRIER: (1, 1),
}
"""How many points each kind takes, least and most."""


def now() -> datetime:
    """The time of a correction that is made now, whole seconds UTC."""
    return datetime.now(UTC).replace(microsecond=0)


@dataclass(frozen=True)
class Correction:
    """One change of a found canal; `canal` names it (a barrier with no canal holds for all of them).

    `points`, by `kind`: move point: where it was, where it goes; move orifice, move terminus: where it goes; add
    canal: from the orifice down; add portal: from the canal outwards; remove portal: a place on it; barrier: its
    centre, with `radius` (mm), a ball, or the disc across `normal` where that is given. `portal`: kind of a portal.

    Raises CorrectionError for what cannot be: points too few, not finite, no author, no reason, a time without zone.
    """

    kind: Kind
    canal: str
    points: tuple[Point, ...]
    author: str
    reason: str
    time: datetime = field(default_factory=now)
    radius: float | None = None
    normal: Point | None = None
    portal: str = "lateral canal"

    def __post_init__(self) -> None:
        low, high = POINTS[self.kind]
        if not low <= len(self.points) <= high:
            wanted = str(low) if low == high else f"{low} to {high}"
            raise CorrectionError(f"{self}: {len(self.points)} points given; allowed: {wanted}; click them again")
        numbers = [*self.points, *([self.normal] if self.normal else [])]
        if any(len(p) != 3 or not np.isfinite(p).all() for p in numbers):
            raise CorrectionError(f"{self}: a point is not three numbers in mm; click it again")
        for name in ("author", "reason"):
            text = getattr(self, name)
            if not text.strip() or len(text) > 200 or not text.isprintable():
                raise CorrectionError(f"{self}: {name} {text[:20]!r}; allowed: 1 to 200 characters; say who and why")
        if not self.canal.strip() and self.kind is not Kind.BARRIER:
            raise CorrectionError(f"{self}: no canal named; name the canal that is corrected")
        if self.time.tzinfo is None:
            raise CorrectionError(f"{self}: time {self.time} has no zone; write it as 2026-01-31T09:30:00Z")
        if self.kind is Kind.BARRIER and not (self.radius and 0 < self.radius <= LARGEST):
            raise CorrectionError(f"{self}: radius {self.radius} mm; allowed: above 0 to {LARGEST:g} mm; give one")
        if self.normal is not None and np.linalg.norm(self.normal) < 1e-9:
            raise CorrectionError(f"{self}: the normal has no direction; leave it out for a ball")

    def __str__(self) -> str:
        return f"{self.kind.value} ({self.canal})" if self.canal else self.kind.value

    @property
    def told(self) -> str:
        """What, by whom and on which day, for the provenance of a value."""
        return f"corrected by {self.author} ({self.kind.value}, {self.time.date().isoformat()})"


Places = Iterable[float] | NDArray[np.float64]


def move_point(canal: str, was: Places, to: Places, *, author: str, reason: str) -> Correction:
    """Lead the canal through `to` instead of `was`, a place on its centreline."""
    return Correction(Kind.MOVE_POINT, canal, (_point(was), _point(to)), author, reason)


def move_orifice(canal: str, to: Places, *, author: str, reason: str) -> Correction:
    """Set the orifice."""
    return Correction(Kind.MOVE_ORIFICE, canal, (_point(to),), author, reason)


def move_terminus(canal: str, to: Places, *, author: str, reason: str) -> Correction:
    """Set the terminus; it then stays where it was set."""
    return Correction(Kind.MOVE_TERMINUS, canal, (_point(to),), author, reason)


def add_canal(canal: str, points: Iterable[Places], *, author: str, reason: str) -> Correction:
    """A canal that was not found, through two or more points from its orifice down."""
    return Correction(Kind.ADD_CANAL, canal, tuple(_point(p) for p in points), author, reason)


def add_portal(
    canal: str, points: Iterable[Places], *, author: str, reason: str, portal: str = "lateral canal"
) -> Correction:
    """A side branch of `canal` through two or more points, from the canal out to the root's surface."""
    made = tuple(_point(p) for p in points)
    return Correction(Kind.ADD_PORTAL, canal, made, author, reason, portal=portal)


def remove_canal(canal: str, *, author: str, reason: str) -> Correction:
    """A canal that is none."""
    return Correction(Kind.REMOVE_CANAL, canal, (), author, reason)


def remove_portal(canal: str, near: Places, *, author: str, reason: str) -> Correction:
    """The side branch of `canal` nearest to a place, at most 1 mm from it."""
    return Correction(Kind.REMOVE_PORTAL, canal, (_point(near),), author, reason)


def barrier(
    centre: Places, radius: float, *, author: str, reason: str, normal: Places | None = None, canal: str = ""
) -> Correction:
    """A ball, or with a `normal` a disc, that the traces of `canal` (all of them without a name) may not cross."""
    way = None if normal is None else _point(normal)
    return Correction(Kind.BARRIER, canal, (_point(centre),), author, reason, radius=float(radius), normal=way)


def _point(values: Places) -> Point:
    x, y, z = (float(v) for v in values)
    return x, y, z
