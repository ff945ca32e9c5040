"""The chain of a class: one student's log of one canal laid beside the plan; one row.

`rise` is what the filling as carried out does to the root surface, by the guide's own forecast; steps not yet done count as planned.
"""

import json
from collections.abc import Mapping
from typing import Any

import numpy as np

from canalwright import casefile, guide, planning
from canalwright.cohort.chain import tray_of
from canalwright.cohort.columns import in_columns
from canalwright.cohort.job import CohortError, Row
from canalwright.guide.log import events_of
from canalwright.planning import Choices


def run(ident: str, content: Mapping[str, Any]) -> list[Row]:
    """The row of one log. Raises CohortError for a log that is damaged, or is not about a tooth of this student."""
    head, lines = _opened(ident, content["log"])
    case = casefile.loads(head["case"], f"{ident}: case in the log")
    tooth = next((name for name, digest in content["teeth"].items() if digest == case.digest), None)
    if tooth is None:
        raise CohortError(f"{ident}: the tooth of this log was not assigned to this student; hand in the right log")
    try:
        canal = case.canals[int(head["canal"])]
    except IndexError:
        raise CohortError(f"{ident}: the log names canal {head['canal']}, the tooth has {len(case.canals)}") from None
    plan = planning.plan(canal, tray_of(content["tray"]), Choices(**content["choices"]), threads=1)
    session = guide.fold(guide.steps_of(plan), float(head["began"]), events_of(lines))
    debrief = guide.debrief(session)
    heats = [
        abs(line.seconds - line.planned)
        for line in debrief
        if line.kind == "heat" and line.seconds is not None and line.planned is not None
    ]
    depths = [abs(line.depth - line.aim) for line in debrief if line.aim is not None and line.depth is not None]
    row: Row = {
        "student": content["student"],
        "tooth_name": tooth,
        "number": canal.tooth.code,
        "canal": canal.name,
        "steps": len(session.steps),
        "done": len(debrief),
        "off": sum(line.off for line in debrief),
        "heat_error": float(np.mean(heats)) if heats else None,
        "depth_error": float(np.mean(depths)) if depths else None,
        "seconds": float(session.done[-1].ended - session.done[0].began) if session.done else 0.0,
        "notes": sum(len(line.notes) for line in debrief),
    }
    row |= in_columns("planned_rise", plan.heat.surface_rise) | in_columns("rise", guide.forecast(plan, session).rise)
    told = [
        [line.step + 1, line.kind, line.planned, line.seconds, line.aim, line.depth, "; ".join(line.notes), line.off]
        for line in debrief
    ]
    return [{**row, "lines": json.dumps(told)}]


def _opened(ident: str, log: str) -> tuple[dict[str, Any], list[str]]:
    first, *lines = log.split("\n")
    try:
        head = json.loads(first)
        return {key: head[key] for key in ("case", "canal", "began")}, lines
    except (ValueError, KeyError, TypeError):
        raise CohortError(f"{ident}: its first line is damaged; export the session anew") from None
