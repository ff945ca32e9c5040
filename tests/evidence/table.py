"""One row of the evidence: our result beside a published, standard or reference value.

A module `evidence_<room>.py` lists its rows in `CHECKS`. `test_evidence.py` runs every row;
`python -m tests.evidence.build` writes `docs/evidence.md` from the same rows. A row that we miss keeps its place: give
`miss` the reason; the test then holds that it is still a miss, so that the page never lies.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

Seen = Literal[
    "read in the source", "read in an abstract", "quoted by another paper", "read in a summary",
    "common practice", "from memory", "closed form", "reference library", "open data",
]  # fmt: skip


@dataclass(frozen=True)
class Check:
    """Compare `ours()` with `theirs` (a value, or a band as a pair) within `tolerance` (absolute).

    `role` says whether the value set a parameter ("calibration") or only judges ("check"): never both.
    """

    room: str
    name: str
    ours: Callable[[], float]
    theirs: float | tuple[float, float]
    tolerance: float
    why: str
    unit: str
    source: str
    seen: Seen
    conditions: str = ""
    role: Literal["check", "calibration"] = "check"
    miss: str = ""

    @cached_property
    def value(self) -> float:
        return float(self.ours())

    @property
    def difference(self) -> float:
        """Distance from the value, or from the nearer end of the band (0 inside it)."""
        if isinstance(self.theirs, tuple):
            low, high = self.theirs
            return min(self.value - low, 0.0) or max(self.value - high, 0.0)
        return self.value - self.theirs

    @property
    def holds(self) -> bool:
        return abs(self.difference) <= self.tolerance
