"""Two open scans, before and after a filling: laid on each other and read in a process of their own."""

import hashlib
import io
from dataclasses import dataclass
from typing import Any

import numpy as np

from canalwright.anatomy import Canal, Tooth
from canalwright.assessment import scan as two_scans
from canalwright.assessment.criteria import BANDS
from canalwright.exchange.codes import of_tooth
from canalwright.imaging import ScanError
from canalwright.imaging.errors import ImagingError
from canalwright.imaging.exports import FILLING, nrrd_of, segmentation
from canalwright.imaging.readers.series import Series
from canalwright.planning import Plan
from canalwright.web.scan.store import OpenScan
from canalwright.web.scan.tasks import Kept
from canalwright.web.worker import Told

LABELLED = 0.95
"""Share of the work after which the filling is read."""
NO_SERIES = "No DICOM segmentation: it refers to a DICOM series, and the scan before the filling is none, or its headers say too little."


@dataclass(frozen=True)
class Filled:
    """What was read, its `labels` as an NRRD file and as a DICOM `segmentation`, or `without` one and why.

    `scans`: which two they were and how the later lies on the earlier, so that they are known again.
    """

    reading: two_scans.ScanReading
    scans: dict[str, Any]
    labels: bytes
    segmentation: bytes | None
    without: str


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
) -> Filled:  # fmt: skip
    """Read a filling, and lay what it is down as labels.

    Raises ScanError where the canal does not lie in the earlier scan, or the two do not fit together.
    """
    first, second = before.scan(), after.scan()
    if not all(first.holds(place) for place in (line.centre[0], line.centre[-1])):
        raise ScanError(
            f"{before.name}: this canal does not lie in it; choose the scan that the case was read from, before the filling"
        )
    doing = "laying the scan after the filling on the one before"
    told(doing, 0.0)
    found = two_scans.read(
        first, second, line, basis=basis, tooth=tooth, canal=canal, plan=plan, band=BANDS[band],
        step=lambda share: told(doing, LABELLED * share),
    )  # fmt: skip
    told("writing the labels", LABELLED)
    scans = {
        "before": which(before),
        "after": which(after),
        "turn": [[round(float(v), 9) for v in row] for row in found.turn],
        "shift_mm": [round(float(v), 4) for v in found.shift],
    }
    return Filled(found, scans, nrrd_of(found.labels), *_segmented(found, before, tooth))


def which(kept: Kept) -> dict[str, Any]:
    """By what a scan is known again without its name: its size, the digest of its voxels, the UIDs of its series where it was one."""
    scan = kept.scan()
    with kept.voxels.open("rb") as voxels:
        digest = hashlib.file_digest(voxels, "sha256").hexdigest()
    told: dict[str, Any] = {
        "shape": list(scan.shape),
        "spacing_mm": [round(float(s), 5) for s in scan.spacing],
        "sha256": digest,
    }
    if kept.series is not None:
        told |= Series.loads(kept.series.read_text()).uids()
    return told


def _segmented(found: two_scans.ScanReading, before: Kept, tooth: int) -> tuple[bytes | None, str]:
    """The labels as a segmentation of the earlier series, or why there is none."""
    if before.series is None:
        return None, NO_SERIES
    code = of_tooth(Tooth(tooth))
    made = io.BytesIO()
    try:
        series = Series.loads(before.series.read_text())
        region = (code.value, code.scheme, code.meaning)
        segmentation(
            found.labels, two_scans.NAMES, before.scan(), series=series, region=region, purpose=FILLING
        ).save_as(made)
    except (ImagingError, OSError) as error:
        return None, str(error)
    return made.getvalue(), ""
