"""Two open scans, before and after a filling: laid on each other and read in a process of their own."""

import numpy as np

from canalwright.anatomy import Canal
from canalwright.assessment import scan as two_scans
from canalwright.assessment.criteria import BANDS
from canalwright.imaging import ScanError
from canalwright.planning import Plan
from canalwright.web.scan.store import OpenScan
from canalwright.web.scan.tasks import Kept
from canalwright.web.worker import Told


def line_of(canal: Canal, before: OpenScan) -> two_scans.CanalLine:
    """The canal's line, with its branches where the earlier scan is the one that it was found in and still open."""
    end = np.round(canal.native.centre[0], 2)
    for found in before.tracing.canals:
        if np.abs(np.round(found.lumen.centre[0], 2) - end).max() < 0.02:
            return two_scans.CanalLine.of(found)
    lumen = canal.native
    return two_scans.CanalLine(lumen.z, lumen.centre, lumen.minor, lumen.major, lumen.wall)


def read(
    told: Told, before: Kept, after: Kept, line: two_scans.CanalLine, basis: str, tooth: int, canal: str, plan: Plan | None, band: str
) -> two_scans.ScanReading:  # fmt: skip
    """Read a filling. Raises ScanError where the canal does not lie in the earlier scan, or the two do not fit together."""
    first, second = before.scan(), after.scan()
    if not all(first.holds(place) for place in (line.centre[0], line.centre[-1])):
        raise ScanError(
            f"{before.name}: this canal does not lie in it; choose the scan that the case was read from, before the filling"
        )
    doing = "laying the scan after the filling on the one before"
    told(doing, 0.0)
    return two_scans.read(
        first, second, line, basis=basis, tooth=tooth, canal=canal, plan=plan, band=BANDS[band], step=lambda share: told(doing, share)
    )  # fmt: skip
