"""The `[canal.readiness]` table: what was measured and done before the filling. All of it optional."""

from typing import Literal

from pydantic import Field

from canalwright.casefile.fields import Closed

Solution = Literal[
    "hypochlorite",
    "EDTA",
    "citric acid",
    "chlorhexidine",
    "hydrogen peroxide",
    "etidronate",
    "saline",
    "water",
    "alcohol",
]
Way = Literal[
    "apex locator", "apex locator, constriction mark", "radiograph", "radiograph, not corrected", "cone-beam scan",
    "patency file", "paper point", "tactile",
]  # fmt: skip


class LengthTable(Closed):
    """One measurement of the length from the reference point."""

    method: Way
    value_mm: float = Field(ge=8, le=42)
    error_mm: float | None = Field(default=None, gt=0, lt=5, description="One standard deviation; the method's own")
    bias_mm: float | None = Field(default=None, ge=-3, le=3, description="Reading less truth; the method's own")
    sees: Literal["constriction", "foramen", "apex"] | None = Field(default=None, description="What the method finds")


class PointTableOfOne(Closed):
    """One paper point, in the order in which they were taken."""

    dry_mm: float = Field(ge=5, le=42, description="Dry length from the reference point, shortest side")
    far_side_mm: float | None = Field(default=None, ge=5, le=42, description="Dry length on the other side, if slanted")
    blood: bool = False
    wet_through: bool = False
    side: Literal["mesial", "distal", "buccal", "lingual", "palatal"] | None = Field(
        default=None, description="Side of the tooth on which the dry part is shortest"
    )


class GaugeTable(Closed):
    """One gauging file."""

    size: int = Field(ge=6, le=140)
    passes: bool


class FileUsedTable(Closed):
    """One file that shaped the canal, in the order of their use."""

    size: int = Field(ge=6, le=140)
    taper: float = Field(ge=0, le=0.2)
    short_mm: float = Field(default=0.0, ge=0, le=25, description="How far short of the end of the preparation it went")


class IrrigationTable(Closed):
    """Irrigation as it was done."""

    percent: float = Field(default=3.0, ge=0.5, le=8.25, description="Strength of the hypochlorite")
    temperature_C: float = Field(default=33.0, ge=15, le=60, description="In the canal")
    agitation: Literal["none", "pumped cone", "sonic", "ultrasonic"] = "none"
    hypochlorite_s: float | None = Field(default=None, ge=0, le=86400)
    chelator_s: float | None = Field(default=None, ge=0, le=86400)
    rate_mL_s: float | None = Field(default=None, ge=0.001, le=0.6)
    order: list[Solution] = Field(default=[], max_length=40, description="Solutions in the order of their use")


class ReadinessTable(Closed):
    """What was measured and done in this canal before the filling."""

    age_years: float | None = Field(default=None, ge=5, le=120)
    lengths: list[LengthTable] = Field(default=[], max_length=40)
    paper_points: list[PointTableOfOne] = Field(default=[], max_length=40)
    gauges: list[GaugeTable] = Field(default=[], max_length=40)
    files_used: list[FileUsedTable] = Field(default=[], max_length=40)
    irrigation: IrrigationTable | None = None
