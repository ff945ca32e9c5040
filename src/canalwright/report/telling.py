"""A simulated filling in words and as JSON.

It is one run with the values as read: a number that was not drawn carries no interval, and says so (`low` and `high` null in
JSON). The plan's own numbers for the same things have theirs.
"""

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from canalwright.anatomy.lumen import Array
from canalwright.planning.product import CAUTION, Plan
from canalwright.protocol import Heat, Press
from canalwright.quantities import Origin, Quantity, Source
from canalwright.report.words import act_words, figure, interval

if TYPE_CHECKING:
    from canalwright.heat.story import ActHeat
    from canalwright.planning.story import Story

ONE_RUN = Source(Origin.COMPUTED, "one run with the values as read")


def story_text(plan: Plan, story: "Story") -> str:
    """What happens, act by act, and what is filled in the end."""
    lines = [
        f"What happens in the {plan.canal.name} canal: one run with the values as read; intervals stand in the plan",
        f"  {'from':>6} {'to':>6}  {'':46} {'soft to':>8} {'rise':>6}",
        f"  {'s':>6} {'s':>6}  {'':46} {'mm':>8} {'K':>6}",
    ]
    for done in story.heat.acts:
        front = figure(plan.canal.depth(done.front)) if isinstance(done.act, Heat | Press) else ""
        words = act_words(done.act, plan.canal)
        lines.append(
            f"  {done.start:6.1f} {done.end:6.1f}  {words:46} {front:>8} {figure(max(done.surface_rise, 0.0)):>6}"
        )
    lines += ["", "  Filled in the end"]
    lines += [f"    {words}: {_said(q)}" for words, q in _ends(plan, story)]
    rise = plan.heat.surface_rise
    lines.append(f"    greatest rise on the root surface: {figure(rise.value)} K ({interval(rise)}, from the plan)")
    return "\n".join([*lines, "", CAUTION]) + "\n"


def story_json(plan: Plan, story: "Story") -> dict[str, Any]:
    """Acts, course over time, profile by depth and the end of it, in plain JSON types; depths from the reference point."""
    heat, canal = story.heat, plan.canal
    length = canal.length.value
    return {
        "tooth": canal.tooth.code,
        "canal": canal.name,
        "basis": ONE_RUN.detail,
        "acts": [_act(plan, done) for done in heat.acts],
        "course": {
            "time_s": _rounded(heat.time, 2),
            "top_depth_mm": _rounded(length - heat.top),
            "front_depth_mm": _rounded(length - heat.front),
            "carrier_depth_mm": _rounded(length - heat.carrier_tip),
            "carrier_temperature_c": _rounded(heat.carrier_temperature, 1),
            "plugger_depth_mm": _rounded(length - heat.plugger_tip),
            "surface_temperature_c": _rounded(heat.surface.max(axis=1), 2),
        },
        "profile": {
            "depth_mm": _rounded(length - heat.z),
            "surface_rise_k": _rounded(heat.peak_rise),
            "above_47_s": _rounded(heat.above_47, 2),
            "cem43_min": _rounded(heat.cem43, 4),
        },
        "events": [
            {"time_s": round(e.time, 2), "depth_mm": round(length - e.z, 3), "what": e.what}
            for e in story.compaction.events
        ],
        "end": [{"words": words, **_number(q)} for words, q in _ends(plan, story)],
        "caution": CAUTION,
    }


def _ends(plan: Plan, story: "Story") -> list[tuple[str, Quantity]]:
    """What is filled in the end, in words and numbers."""
    moved = story.compaction
    found = [
        (f"{words} in the filled part", _spread(100 * moved.fill.share(part), "%"))
        for part, words in (("gutta", "gutta-percha"), ("sealer", "sealer"), ("void", "voids"))
    ]
    for i, portal in enumerate(moved.portals):
        name = f"{portal.direction} {portal.kind}".strip() + f" at {figure(plan.canal.depth(portal.z))} mm"
        found.append((f"{name}, sealer into it", _spread(moved.sealer_length[:, i + 1], "mm")))
        found.append((f"{name}, gutta-percha into it", _spread(moved.gutta_length[:, i + 1], "mm")))
        found.append((f"{name}, filled", _spread(100 * moved.filled(i), "%")))
    found.append(("sealer beyond the terminus", _spread(moved.puff[:, 0], "mm³")))
    found.append(("gutta-percha beyond the terminus", _spread(moved.gutta_beyond, "mm")))
    found.append(("greatest stress in the wall, of the strength of dentine", _spread(100 * moved.stress_ratio, "%")))
    return found


def _spread(draws: Array, unit: str) -> Quantity:
    """The nominal draw with the interval of the others; one draw alone has no source but itself."""
    if len(draws) < 3:
        return Quantity.exact(float(draws[0]), unit, ONE_RUN)
    low, high = np.quantile(draws[1:], (0.05, 0.95))
    value = float(draws[0])
    return Quantity(value, min(float(low), value), max(float(high), value), unit)


def _said(q: Quantity) -> str:
    digits = 2 if q.unit.startswith("mm") else 0
    told = f"{figure(q.value, digits)} {q.unit}"
    return told if q.source == ONE_RUN else f"{told} ({interval(q, digits)})"


def _number(q: Quantity) -> dict[str, object]:
    """As `Quantity.as_json`, with null ends where only one run was made."""
    return q.as_json() | ({"low": None, "high": None} if q.source == ONE_RUN else {})


def _act(plan: Plan, done: "ActHeat") -> dict[str, Any]:
    def told(value: float, unit: str) -> dict[str, object]:
        finite = value if math.isfinite(value) else math.inf
        return _number(Quantity.exact(finite, unit, ONE_RUN))

    return {
        "what": type(done.act).__name__.lower(),
        "words": act_words(done.act, plan.canal),
        "start_s": round(done.start, 3),
        "end_s": round(done.end, 3),
        "front_depth": told(plan.canal.depth(done.front), "mm"),
        "surface_rise": told(done.surface_rise, "K"),
        "surface_depth": told(plan.canal.depth(done.surface_level), "mm"),
        "apical": told(done.apical, "°C"),
        "cooled": told(done.cooled, "s"),
    }


def _rounded(values: Array, digits: int = 3) -> list[float | None]:
    """Plain numbers; null for what is not there."""
    return [round(float(v), digits) if math.isfinite(v) else None for v in values]
