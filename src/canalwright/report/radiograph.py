"""What the marks of a radiograph say, in words and as JSON."""

from typing import Any

from canalwright.imaging.radiograph.marks import FilmReading
from canalwright.imaging.radiograph.parallax import Depth
from canalwright.planning.product import CAUTION
from canalwright.quantities import Quantity
from canalwright.readiness import film_sounding
from canalwright.report.ready import number_text


def film_numbers(found: FilmReading) -> list[tuple[str, Quantity]]:
    """Names and numbers of one film, in the order in which they are told."""
    rows = [("tooth length", found.length)] if found.length is not None else []
    curve = found.curve
    if curve is not None:
        rows += [("angle of Schneider", curve.schneider), ("angle of Pruett", curve.pruett)]
        if not curve.straight:
            rows += [("radius of Pruett", curve.radius), ("curve begins at level", curve.start)]
        rows.append(("canal as marked", curve.length))
    return rows


def film_text(found: FilmReading, second: Depth | None = None) -> str:
    """In words, with the caution."""
    lines = [f"{name}: {number_text(q)}" for name, q in film_numbers(found)]
    if found.length is not None:
        if found.corrected:
            sounding = film_sounding(found.length)
            lines.append(
                f'for the case: {{ method = "radiograph", value_mm = {sounding.value:.2f}, error_mm = {sounding.error:.2f} }}'
            )
        else:
            lines.append("not corrected: magnification is supposed; mark an instrument of known length")
    if found.shown is not None and found.tilt is not None:
        lines.append(
            f"the instrument shows as {found.shown:.1f} mm on the receptor, tilted by some {found.tilt:.0f} degrees at least"
        )
    if second is not None:
        lines.append(
            f"second canal: {second.side}, sure to {second.chance:.0%}; buccally by {number_text(second.apart)}"
        )
    lines += [f"next: {m}" for m in found.missing]
    return "\n".join([*lines, "", CAUTION]) + "\n"


def film_json(found: FilmReading, second: Depth | None = None) -> dict[str, Any]:
    """Plain JSON types; each number with value, low, high, unit, source."""
    told: dict[str, Any] = {
        "numbers": {name: q.as_json() for name, q in film_numbers(found)},
        "corrected": found.corrected,
        "mm_per_pixel": None if found.scale is None else {"value": found.scale.value, "error": found.scale.error},
        "shown_mm": found.shown,
        "tilt_deg": found.tilt,
        "missing": list(found.missing),
        "caution": CAUTION,
    }
    if second is not None:
        told["second_canal"] = {"side": second.side, "chance": second.chance, "apart": second.apart.as_json()}
    return told
