"""The chain of a class for one filled tooth: the scan after the filling beside the one before it; one row for each canal."""

from collections.abc import Mapping
from typing import Any

from canalwright import casefile, planning
from canalwright.cohort.after import checked
from canalwright.cohort.chain import tray_of
from canalwright.cohort.job import CohortError, Row
from canalwright.cohort.traced import unchanged
from canalwright.planning import Choices


def run(ident: str, content: Mapping[str, Any]) -> list[Row]:
    """Rows of one filled tooth. Raises CohortError for one that no scan before the filling is known of."""
    if not (content.get("scan") or content.get("before")):
        raise CohortError(
            f"{ident}: no scan before the filling is known; the table of the teeth has to name it (before, orifices, termini)"
        )
    unchanged(content)
    case = casefile.loads(content["case"], f"{ident}.toml")
    rows = []
    for place, canal in enumerate(case.canals):
        plan = planning.plan(canal, tray_of(content["tray"]), Choices(**content["choices"]), threads=1)
        told: Row = {
            "student": content["student"],
            "tooth_name": content["tooth_name"],
            "number": canal.tooth.code,
            "canal": canal.name,
        }
        rows.append({**told, "planned_end": canal.end, **checked(content, place, plan)})
    return rows
