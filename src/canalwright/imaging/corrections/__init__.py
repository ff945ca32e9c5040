"""What a clinician corrects in a found canal: kept as a log, replayed, and measured again in the scan.

    log = (move_terminus("distal", (12.0, 3.1, -4.0), author="A. Reader", reason="ends short in the sagittal view"),)
    canals = correct(scan, found, log)

`found` is what the finding gave and never changes; `correct` applies the log to it in order and measures every touched
canal again in the voxels: no number is moved by hand. Undo is leaving the last one out. Give the same `memory` dict
again and only what changed is measured. Every touched canal names its authors (`corrected_by`, `source`).
"""

from canalwright.imaging.corrections.apply import correct
from canalwright.imaging.corrections.correction import (
    Correction,
    Kind,
    add_canal,
    add_portal,
    barrier,
    move_orifice,
    move_point,
    move_terminus,
    remove_canal,
    remove_portal,
)

__all__ = [
    "Correction",
    "Kind",
    "add_canal",
    "add_portal",
    "barrier",
    "correct",
    "move_orifice",
    "move_point",
    "move_terminus",
    "remove_canal",
    "remove_portal",
]
