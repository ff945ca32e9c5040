"""The whole chain for one real tooth: trace, readiness, plan, simulation, check; one row for each canal.

Numbers that the plan predicts stand in three columns each: `NAME`, `NAME_low`, `NAME_high` (5-95 %). Depths count from the reference
point. The simulation's own columns (`sim_...`) are one run with the values as read and carry no interval.
"""

from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import numpy as np

from canalwright import casefile, planning
from canalwright.anatomy import Canal
from canalwright.casefile import Case
from canalwright.cohort.after import checked
from canalwright.cohort.columns import in_columns
from canalwright.cohort.job import CohortError, Row
from canalwright.cohort.traced import traced, unchanged
from canalwright.instruments import Tray
from canalwright.planning import Choices, Plan, Story
from canalwright.quantities import Quantity
from canalwright.readiness import Readiness, judge


def run(ident: str, content: Mapping[str, Any]) -> list[Row]:
    """Rows of one tooth. Raises ValueError (of any room) for a tooth that cannot be worked on."""
    unchanged(content)
    case = case_of(ident, content)
    tray, choices = tray_of(content.get("tray")), Choices(**content.get("choices") or {})
    wanted = content.get("canal")
    try:
        canals = (case.canal(wanted),) if wanted else case.canals
    except KeyError as error:
        raise CohortError(str(error.args[0])) from None
    rows = []
    for canal in canals:
        plan = planning.plan(canal, tray, choices, threads=1)
        ready = judge(canal, tray, case.record(canal.name))
        told = _told(planning.simulate(plan, every=0.5))
        row = {**head(canal, choices), "case": case.digest[:16], **_ready(ready), **plan_columns(plan), **told}
        rows.append(row | checked(content, case.canals.index(canal), plan))
    return rows


def case_of(ident: str, content: Mapping[str, Any]) -> Case:
    """The case that a job holds as text, or that is traced from the surfaces or the scan that it names."""
    text = content.get("case")
    return casefile.loads(text, f"{ident}.toml") if text is not None else traced(ident, content)


@lru_cache(maxsize=16)
def tray_of(text: str | None) -> Tray:
    """The tray of a tray file's text; the generic one without."""
    return casefile.generic_tray() if text is None else casefile.loads_tray(text)


def head(canal: Canal, choices: Choices) -> Row:
    """What every row begins with: which canal, its own measurements, and the seed."""
    lumen, end = canal.native, canal.end
    return {
        "number": canal.tooth.code,
        "canal": canal.name,
        "working_length": canal.working_length,
        "file": canal.file.name,
        "apical_width": float(np.interp(end + 0.1, lumen.z, lumen.minor)),
        "least_wall": float(lumen.wall[lumen.z >= min(3.0, lumen.z[-1] / 2)].min()),
        "doubts": len(canal.notes),
        "draws": choices.draws,
        "seed": choices.seed,
    }


def plan_columns(plan: Plan) -> Row:
    """The plan's choices and numbers as columns."""
    apical = plan.pluggers[-1] if plan.pluggers else None
    last = plan.rounds[-1]
    row: Row = {
        "cone": plan.cone.cone.name,
        "carrier": plan.carrier.name,
        "sealer": plan.sealer.name if plan.sealer else None,
        "pluggers": "; ".join(p.plugger.name for p in plan.pluggers),
        "rounds": len(plan.rounds),
        "temperature": _setting(plan),
        "activation": last.activation.value,
        "portions": len(plan.portions),
        "harm": plan.worst.name.lower(),
        "findings": " ".join(f.code for f in plan.findings),
        "supposed": plan.supposed,
    }
    numbers: dict[str, Quantity | None] = {
        "trim": plan.cone.trim, "seat_short": plan.cone.short, "seat_chance": plan.cone.chance,
        "apical_stop_short": apical.short_of_end if apical else None,
        "rise": plan.heat.surface_rise, "above_47": plan.heat.above_47, "cem43": plan.heat.cem43, "margin": plan.heat.margin,
        "longest_activation": plan.heat.longest_activation, "apical_temperature": plan.heat.apical, "front": last.front,
        "last_hold": last.hold, "void": plan.fill.void, "root_ratio": plan.fill.root_ratio,
        "chance_beyond": plan.extrusion.chance,
    }  # fmt: skip
    for name, quantity in numbers.items():
        row |= in_columns(name, quantity)
    return row


def _setting(plan: Plan) -> float:
    from canalwright.protocol import Heat

    return float(next(act.temperature for act in reversed(plan.protocol.acts) if isinstance(act, Heat)))


def _ready(ready: Readiness) -> Row:
    return {"ready": ready.verdict.words, "to_do": "; ".join(item.name for item in ready.to_do)}


def _told(story: Story) -> Row:
    """What one run of the whole protocol tells: heat and press together."""
    return {
        "sim_rise": float(story.heat.surface_rise),
        "sim_front": float(story.heat.deepest_front),
        "sim_void": float(story.compaction.fill.share("void")[0]),
        "sim_puff": float(story.compaction.puff[0].sum()),
    }
