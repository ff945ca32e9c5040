"""What was planned, what was done at the chair, what came out: one line for each number that can be followed so far.

The plan gives a number with its interval, the session at the chair what the clinician noted, the assessment what an image shows. A gap is
what came out less what was planned; its interval joins both. A number that an image could not show has no gap.
"""

from dataclasses import replace

import numpy as np

from canalwright.assessment.result import Assessment, Residual, Sight
from canalwright.guide import Done
from canalwright.planning import Plan
from canalwright.protocol import Heat, Inject, Place, Press
from canalwright.quantities import Quantity


def against(assessment: Assessment, plan: Plan, done: tuple[Done, ...] = ()) -> Assessment:
    """The assessment with its residuals against a plan, and what was done at the chair where that is known."""
    return replace(assessment, residuals=residuals(assessment, plan, done))


def planned_share(plan: Plan | None, low: float, high: float) -> Quantity | None:
    """Share (0 to 1) of the canal between two stations (mm from the terminus) that a plan fills; None without a plan.

    Its interval is that of the planned end of the filling and of its top.
    """
    if plan is None:
        return None
    short, top, canal = plan.cone.short, plan.backfill_top, plan.canal

    def share(bottom: float, depth: float) -> float:
        ceiling = canal.length.value - depth
        return float(np.clip((min(high, ceiling) - max(low, canal.end + bottom)) / (high - low), 0, 1))

    return Quantity(
        share(short.value, top.value), share(short.high, top.high), share(short.low, top.low), "", short.source
    )


def residuals(assessment: Assessment, plan: Plan, done: tuple[Done, ...] = ()) -> tuple[Residual, ...]:
    """Each number of the plan that an assessment answers, in the order of the work."""
    canal = plan.canal
    short, top = plan.cone.short, plan.backfill_top
    placed = _depth(plan, done, Place)
    end = _plus(short, canal.end)
    found = [
        _line(
            "end", "end of the filling, short of the terminus", end,
            None if placed is None else canal.length.value - placed, assessment.to_terminus,
        ),
    ]  # fmt: skip
    came_top = _top(assessment, canal.length.value)
    if assessment.basis != "radiograph" or came_top is not None:
        found.append(
            _line("top", "top of the filling, depth from the reference point", top, _last_top(plan, done), came_top)
        )
    if assessment.void_share is not None:
        found.append(_line("voids", "voids, share of the filling", plan.fill.void, None, assessment.void_share))
    seen = {(round(p.z, 3), p.name): p for p in assessment.portals}
    for portal in plan.fill.portals:
        name = " ".join(filter(None, (portal.portal.direction, portal.portal.kind)))
        match = seen.get((round(portal.portal.z, 3), name))
        came = match.filled if match is not None and match.sight is Sight.THERE else None
        found.append(_line(f"portal {portal.portal.z:g}", f"filling in the {name}", portal.sealer, None, came))
    reach = assessment.beyond.reach if assessment.beyond.sight is Sight.THERE else None
    if assessment.beyond.sight is Sight.ABSENT:
        reach = Quantity(0.0, 0.0, 0.1, "mm")
    found.append(_line("beyond", "filling past the terminus", plan.extrusion.length, None, reach))
    return tuple(found)


def stops(plan: Plan, done: tuple[Done, ...]) -> tuple[tuple[str, float], ...]:
    """How far each stop that was noted at the chair lay from what was asked for, mm (positive: deeper), by habit.

    Habits: `trim` (the cone's tip where it seated), `carrier stop`, `plugger stop`.
    """
    depth = plan.canal.depth
    found = []
    for entry in done:
        if entry.depth is None:
            continue
        match plan.protocol.acts[entry.act]:
            case Place(tip=tip):
                found.append(("trim", float(entry.depth - depth(tip))))
            case Heat() if entry.aim is not None:
                found.append(("carrier stop", float(entry.depth - entry.aim)))
            case Press() if entry.aim is not None:
                found.append(("plugger stop", float(entry.depth - entry.aim)))
            case _:
                pass
    return tuple(found)


def _depth(plan: Plan, done: tuple[Done, ...], kind: type) -> float | None:
    depths = [e.depth for e in done if isinstance(plan.protocol.acts[e.act], kind) and e.depth is not None]
    return depths[0] if depths else None


def _last_top(plan: Plan, done: tuple[Done, ...]) -> float | None:
    """Depth noted with the last press of the backfill."""
    pressed = [e for e in done if isinstance(plan.protocol.acts[e.act], Press) and e.depth is not None]
    injected = [e.step for e in done if isinstance(plan.protocol.acts[e.act], Inject)]
    after = [e for e in pressed if injected and e.step > injected[-1]]
    return after[-1].depth if after else None


def _top(assessment: Assessment, length: float) -> Quantity | None:
    if any("at least this" in note for note in assessment.notes):
        return None
    z = assessment.to_terminus.value + assessment.length_filled.value
    half = (assessment.length_filled.high - assessment.length_filled.low) / 2
    return Quantity(length - z, length - z - half, length - z + half, "mm")


def _plus(quantity: Quantity, more: float) -> Quantity:
    return Quantity(
        quantity.value + more, quantity.low + more, quantity.high + more, quantity.unit, quantity.source,
        quantity.supposed, quantity.leading,
    )  # fmt: skip


def _line(key: str, words: str, planned: Quantity, done: float | None, came: Quantity | None) -> Residual:
    if came is None:
        return Residual(key, words, planned, done, None, None)
    gap = came.value - planned.value
    low = float(np.hypot(came.value - came.low, planned.high - planned.value))
    high = float(np.hypot(came.high - came.value, planned.value - planned.low))
    return Residual(key, words, planned, done, came, Quantity(gap, gap - low, gap + high, planned.unit))


def learned_from(found: Assessment, plan: Plan, done: tuple[Done, ...]) -> tuple[tuple[str, float], ...]:
    """What a check teaches of the hand: the stops noted at the chair, and how far end and top came out from the plan, mm."""
    ends = ((r.key, r.gap.value) for r in found.residuals if r.gap is not None and r.key in ("end", "top"))
    return (*stops(plan, done), *ends)
