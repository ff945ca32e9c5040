"""The tray file as it is written. Lengths mm, tapers mm per mm, temperatures deg C, power W."""

from typing import Literal

from pydantic import Field

from canalwright.casefile.fields import PRINTABLE, Closed

Kind = Literal["stiff", "elastic"]


class TrayAbout(Closed):
    """What the file is."""

    version: Literal[1]
    name: str = Field(pattern=PRINTABLE, min_length=1, max_length=80)
    invented: bool = False
    note: str = Field(default="", max_length=2000)


class PointTable(Closed):
    """Cones or paper points: ISO sizes of one taper, or one point by its diameters."""

    sizes: list[int] | None = Field(default=None, min_length=1, max_length=30)
    taper: float | None = Field(default=None, ge=0, le=0.2)
    name: str | None = Field(pattern=PRINTABLE, default=None, min_length=1, max_length=60)
    diameters_by_mm: list[list[float]] | None = Field(default=None, min_length=1, max_length=100)
    length_mm: float = Field(default=28.0, ge=16, le=40)
    tolerance_mm: float | None = Field(default=None, ge=0, le=0.2)


class TaperedTool(Closed):
    """A tool with a tip and a uniform taper."""

    name: str = Field(pattern=PRINTABLE, min_length=1, max_length=60)
    tip_mm: float = Field(ge=0.2, le=2.5)
    taper: float = Field(default=0.02, ge=0, le=0.2)
    working_length_mm: float = Field(default=28.0, ge=10, le=40)
    strain_limit: float | None = Field(default=None, ge=0, le=0.15, description="bending strain it may take")
    tolerance_mm: float | None = Field(default=None, ge=0, le=0.2)


class PluggerTable(TaperedTool):
    """A hand plugger."""

    kind: Kind = "stiff"


class CarrierTable(TaperedTool):
    """An electric heat carrier."""

    kind: Kind = "elastic"
    temperatures_C: list[float] = Field(default=[150.0, 180.0, 200.0, 230.0, 250.0], min_length=1, max_length=20)
    power_W: float = Field(default=6.0, ge=0.5, le=60)
    heated_length_mm: float = Field(default=8.0, ge=1, le=25)
    sensor_at_mm: float = Field(default=4.0, ge=0, le=25)


class NeedleTable(Closed):
    """A needle by its gauge; the bore follows from the wall class unless it is given."""

    gauge: int
    wall: Literal["regular", "thin", "extra thin"] = "regular"
    name: str | None = Field(pattern=PRINTABLE, default=None, min_length=1, max_length=60)
    outside_mm: float | None = Field(default=None, ge=0.1, le=2)
    inside_mm: float | None = Field(default=None, ge=0.05, le=1.8)
    working_length_mm: float = Field(default=25.0, ge=10, le=40)
    purpose: Literal["backfill", "irrigation"] = "backfill"
    opening: Literal["open", "side"] = Field(default="open", description="where an irrigation needle lets out")


class SealerTable(Closed):
    """A sealer by kind."""

    name: str = Field(pattern=PRINTABLE, min_length=1, max_length=60)
    kind: str = Field(pattern=PRINTABLE, default="epoxy resin", min_length=1, max_length=60)
    film_thickness_mm: float = Field(default=0.03, ge=0.001, le=0.2)


class FileEntry(Closed):
    """Finishing files on the tray: ISO sizes of one taper; what is counted holds for each of them."""

    sizes: list[int] = Field(min_length=1, max_length=30)
    taper: float = Field(ge=0, le=0.2)
    alloy: Literal["superelastic", "heat-treated", "steel"] = "superelastic"
    uses: int | None = Field(default=None, ge=0, le=100, description="canals that these files have shaped")
    most_uses: int | None = Field(default=None, ge=1, le=100, description="canals after which they are thrown away")


class TrayModel(Closed):
    """A tray file: at least one cone, plugger, carrier and needle."""

    tray: TrayAbout
    file: list[FileEntry] = Field(default=[], max_length=100)
    cone: list[PointTable] = Field(default=[], max_length=100)
    paper_point: list[PointTable] = Field(default=[], max_length=100)
    plugger: list[PluggerTable] = Field(default=[], max_length=100)
    carrier: list[CarrierTable] = Field(default=[], max_length=100)
    needle: list[NeedleTable] = Field(default=[], max_length=100)
    sealer: list[SealerTable] = Field(default=[], max_length=100)
