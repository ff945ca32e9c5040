"""The verdict on a canal's readiness in words and as JSON."""

from typing import Any

from canalwright.anatomy import Canal
from canalwright.planning.product import CAUTION
from canalwright.quantities import Quantity
from canalwright.readiness import Readiness, Verdict


def ready_text(canal: Canal, found: Readiness) -> str:
    """Item by item, worst first, with numbers, what to do and the caution."""
    lines = [f"Tooth {canal.tooth}, {canal.name} canal: {found.verdict.words}", ""]
    for item in sorted(found.items, key=lambda i: -i.verdict):
        lines.append(f"  {item.verdict.words.upper()}: {item.name}: {item.message}")
        lines += [f"      {n.name}: {number_text(n.quantity)}" for n in item.numbers]
        if item.action:
            lines.append(f"    {item.action}")
    return "\n".join([*lines, "", CAUTION]) + "\n"


def ready_line(found: Readiness) -> str:
    """The verdict in one line, for the card: how many items are ready, and which are not."""
    ready = sum(i.verdict is Verdict.READY for i in found.items)
    by_state = [
        f"{state.words}: {', '.join(i.name for i in found.items if i.verdict is state)}"
        for state in sorted(Verdict, reverse=True)
        if state is not Verdict.READY and any(i.verdict is state for i in found.items)
    ]
    return "; ".join([f"{ready} of {len(found.items)} items ready", *by_state])


def ready_json(found: Readiness) -> dict[str, Any]:
    """Verdict and items in plain JSON types; each number with value, low, high, unit, source, supposed, leading."""
    return {
        "verdict": found.verdict.name.lower(),
        "items": [
            {
                "name": item.name,
                "verdict": item.verdict.name.lower(),
                "message": item.message,
                "action": item.action,
                "numbers": {n.name: n.quantity.as_json() for n in item.numbers},
            }
            for item in found.items
        ],
        "length": _length(found),
        "caution": CAUTION,
    }


def number_text(quantity: Quantity) -> str:
    """A number with its interval in units that people read: kPa for pressures, min for long times."""
    unit, scale = {"MPa": ("kPa", 1000.0), "s": ("min", 1 / 60)}.get(quantity.unit, (quantity.unit, 1.0))
    values = [scale * v for v in (quantity.value, quantity.low, quantity.high)]
    digits = 2 if max(abs(v) for v in values) < 2 else 1 if max(abs(v) for v in values) < 200 else 0
    value, low, high = (f"{v:.{digits}f}" if abs(v) != float("inf") else "without bound" for v in values)
    return f"{value} ({low} to {high}) {unit}".strip()


def _length(found: Readiness) -> dict[str, Any] | None:
    length = found.length
    if length is None:
        return None
    return {
        "constriction": length.constriction.as_json(),
        "foramen": length.foramen.as_json(),
        "apex": length.apex.as_json(),
        "agrees": length.agrees,
        "chance": length.chance,
        "candidates": [
            {"methods": [s.method for s in c.soundings], "constriction": c.constriction.as_json()}
            for c in length.candidates
        ],
        "odd": [{"method": o.sounding.method, "apart_mm": o.apart, "deviation": o.deviation} for o in length.odd],
    }
