"""From what the browser says to a correction."""

from typing import Any

from canalwright.imaging.corrections import Correction, Kind
from canalwright.imaging.errors import CorrectionError

NOBODY = "not signed in"
UNSAID = "seen in the scan view"
Point = tuple[float, float, float]


def correction_of(said: dict[str, Any], signed_in: str) -> Correction:
    """The correction in `said`: kind, canal, points, author, reason, radius. Who is signed in is its author.

    Raises CorrectionError for what cannot be.
    """
    try:
        kind = Kind(said.get("kind", ""))
    except ValueError:
        raise CorrectionError(
            f"{str(said.get('kind'))[:30]!r} is no kind of correction; choose one of the page"
        ) from None
    radius, normal = said.get("radius"), said.get("normal")
    return Correction(
        kind,
        str(said.get("canal", ""))[:80],
        tuple(point_of(p) for p in said.get("points") or ()),
        signed_in or _line(said.get("author")) or NOBODY,
        _line(said.get("reason")) or UNSAID,
        radius=float(radius) if isinstance(radius, int | float) else None,
        normal=None if normal is None else point_of(normal),
        portal=_line(said.get("portal")) or "lateral canal",
    )


def point_of(said: Any) -> Point:
    """A point of three numbers. Raises CorrectionError for anything else."""
    try:
        x, y, z = (float(v) for v in said)
    except (TypeError, ValueError):
        raise CorrectionError("a point is not three numbers in mm; click it again") from None
    return x, y, z


def _line(said: Any) -> str:
    return "".join(c for c in str(said or "") if c.isprintable()).strip()[:200]
