"""What stands behind a verdict, in words and as JSON: next measurements, the trade-off of shape, each file, contact times, pockets."""

from dataclasses import dataclass
from typing import Any

from canalwright.anatomy import Canal
from canalwright.instruments import Tray
from canalwright.irrigation import Budget, budget
from canalwright.readiness import NextStep, Readiness, Record, ShapeOption, TradeOff, next_steps, trade_off
from canalwright.report.ready import number_text
from canalwright.shaping import Pass


@dataclass(frozen=True)
class Details:
    """The parts of one canal's details."""

    steps: tuple[NextStep, ...]
    shape: TradeOff
    passes: tuple[Pass, ...]
    budget: Budget


def details_of(canal: Canal, tray: Tray, record: Record | None, found: Readiness) -> Details:
    """All details of one canal."""
    record = record or Record()
    steps = next_steps(found.length) if found.length is not None else ()
    bath = record.irrigated.bath if record.irrigated else None
    return Details(steps, trade_off(canal, tray), record.passes(canal), budget(canal, bath))


def details_text(canal: Canal, found: Details) -> str:
    """In words."""
    lines = [f"Tooth {canal.tooth}, {canal.name} canal: what stands behind the verdict"]
    lines += [
        f"  a {s.method} would narrow the length from {s.before:.1f} to {s.after:.1f} mm" for s in found.steps[:5]
    ]
    lines += [
        f"  file {o.file.name}: dentine {number_text(o.dentine)}"
        + (f", plugger {number_text(o.plugger_short)} short" if o.plugger_short else "")
        + (f", needle {number_text(o.needle_short)} short" if o.needle_short else "")
        + (" (yours)" if o.file.name == found.shape.present.file.name else "")
        for o in _shown(found.shape)
    ]
    lines += [
        f"  {p.file.name} cuts along {p.share:.0%} of its length, takes {p.volume:.2f} mm3{': it may lock' if p.locks else ''}"
        for p in found.passes
    ]
    lines += [f"  {c.solution}, {c.seconds:.0f} s, {c.volume:.0f} mL: {c.act}" for c in found.budget.contacts]
    lines += [f"  {r.pocket.name} {r.pocket.depth:.1f} mm deep: {number_text(r.needs)}" for r in found.budget.reached]
    return "\n".join(lines) + "\n"


def details_json(found: Details) -> dict[str, Any]:
    """Plain JSON types; each number with value, low, high, unit, source."""
    return {
        "next": [
            {
                "method": s.method,
                "before_mm": s.before,
                "after_mm": s.after,
                "gain": s.gain,
                "minutes": s.minutes,
                "dose": s.dose,
            }
            for s in found.steps
        ],
        "shape": [
            {
                "file": o.file.name,
                "present": o.file.name == found.shape.present.file.name,
                "dentine": o.dentine.as_json(),
                "furcation": o.furcation.as_json() if o.furcation else None,
                "plugger_short": o.plugger_short.as_json() if o.plugger_short else None,
                "needle_short": o.needle_short.as_json() if o.needle_short else None,
                "untouched": o.untouched.as_json(),
                "turns": o.life.turns.as_json(),
            }
            for o in _shown(found.shape)
        ],
        "files": [
            {"file": p.file.name, "share": p.share, "volume_mm3": p.volume, "may_lock": p.locks} for p in found.passes
        ],
        "contact_times": [
            {
                "solution": c.solution,
                "percent": c.percent,
                "seconds": c.seconds,
                "volume_mL": c.volume,
                "do": c.act,
                "why": c.why,
            }
            for c in found.budget.contacts
        ],
        "pockets": [
            {
                "name": r.pocket.name,
                "z_mm": r.pocket.z,
                "depth_mm": r.pocket.depth,
                "needs": r.needs.as_json(),
                "done": r.done,
            }
            for r in found.budget.reached
        ],
    }


def _shown(found: TradeOff) -> list[ShapeOption]:
    """The curve, and the file of the plan where it is not on it."""
    return [*found.curve, *(() if found.present.on_curve else (found.present,))]
