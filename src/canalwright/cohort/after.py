"""Check a filling where there is a scan after it: what came of it, canal by canal, beside the plan.

The scans before and after are laid over each other by the room `assessment`; where they do not fit, or no filling is seen, the
canal keeps its row and `check_reason` says why there is no check.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from canalwright.assessment import scan
from canalwright.cohort.columns import in_columns
from canalwright.cohort.job import CohortError, Row
from canalwright.cohort.sources import BASES
from canalwright.cohort.traced import scanned
from canalwright.imaging import ImagingError, read_scan
from canalwright.planning import Plan


def checked(content: Mapping[str, Any], place: int, plan: Plan) -> Row:
    """Columns of the check of canal number `place` of the tooth; none for a tooth without a scan after its filling."""
    if not content.get("after"):
        return {}
    before = content.get("before") or content["scan"]
    found = scanned({**content, "scan": before})
    if place >= len(found):
        raise CohortError(
            f"the scan before the filling shows {len(found)} canals, the case has more; give orifices and termini for each"
        )
    try:
        made = scan.read(
            read_scan(Path(before), voxel=content.get("voxel")), read_scan(Path(content["after"]), voxel=content.get("voxel")),
            scan.CanalLine.of(found[place]), basis=content.get("basis", BASES[0]), tooth=plan.canal.tooth.code,
            canal=plan.canal.name, plan=plan,
        ).assessment  # fmt: skip
    except (ImagingError, scan.RegistrationError) as error:
        return {"check_reason": " ".join(str(error).split())}
    return {
        "check_reason": None,
        "check_grade": made.grade.word,
        **in_columns("check_to_terminus", made.to_terminus),
        **in_columns("check_filled", made.length_filled),
        **in_columns("check_void", made.void_share),
        **in_columns("check_smallest_void", made.smallest_void),
        "check_voids": len(made.voids),
        "check_beyond": made.beyond.sight.value,
        "check_not_seen": "; ".join(made.not_seen),
    }
