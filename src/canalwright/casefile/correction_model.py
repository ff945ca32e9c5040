"""The `[[correction]]` tables of a case file: what a clinician corrected in the canals that were found in a scan."""

from typing import Annotated, Literal

from pydantic import Field

from canalwright.casefile.fields import PRINTABLE, Closed

Place = Annotated[list[float], Field(min_length=3, max_length=3)]
Text = Annotated[str, Field(pattern=PRINTABLE, min_length=1, max_length=200)]


class CorrectionTable(Closed):
    """One correction, in the order in which they were made; points in the scan's patient coordinates (LPS)."""

    kind: Literal[
        "move point", "move orifice", "move terminus", "add canal", "add portal", "remove canal", "remove portal",
        "barrier",
    ]  # fmt: skip
    canal: str = Field(pattern=PRINTABLE, default="", max_length=60, description="Canal as it was named when traced")
    points_mm: list[Place] = Field(default=[], max_length=60, description="Rows of x, y, z")
    radius_mm: float | None = Field(default=None, gt=0, le=15, description="Of a barrier")
    normal: Place | None = Field(default=None, description="Direction across a flat barrier; a ball without it")
    portal: str = Field(pattern=PRINTABLE, default="lateral canal", min_length=1, max_length=40)
    author: Text = Field(description="Who corrected it")
    reason: Text = Field(description="Why")
    time: str = Field(
        pattern=r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(Z|[+-]\d{2}:\d{2})$", description="As 2026-01-31T09:30:00Z"
    )
