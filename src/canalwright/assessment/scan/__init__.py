"""A filling in two scans, before and after.

    found = scan.read(before, after, line, basis="micro-CT", tooth=46, canal="distal").assessment

`register` brings the later scan onto the earlier one and refuses where that fails; `shares` turns greys into shares of lumen and filling;
`voids` finds voids and says what the smallest visible one is; `reading` puts the assessment together, `labels`
says voxel by voxel what is filled.
"""

from canalwright.assessment.scan.labels import NAMES
from canalwright.assessment.scan.line import BranchLine, CanalLine
from canalwright.assessment.scan.reading import ScanReading, read
from canalwright.assessment.scan.register import Registered, RegistrationError, register

__all__ = ["NAMES", "BranchLine", "CanalLine", "Registered", "RegistrationError", "ScanReading", "read", "register"]
