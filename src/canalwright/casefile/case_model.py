"""The case file as it is written: tables and keys, types only. Ranges are checked by `canalwright.anatomy`."""

from typing import Annotated, Literal, TypeAlias

from pydantic import BeforeValidator, Field, WithJsonSchema

from canalwright.anatomy.centreline import DIRECTIONS
from canalwright.anatomy.limits import LIMITS
from canalwright.casefile.correction_model import CorrectionTable
from canalwright.casefile.fields import (
    PRINTABLE,
    Closed,
    Rows,
    Value,
    plain_number,
    plain_rows,
    rows_schema,
    value_schema,
)
from canalwright.casefile.readiness_model import ReadinessTable

_number, _rows = BeforeValidator(plain_number), BeforeValidator(plain_rows)
_LENGTH = value_schema("length", "length", "Distance from the reference point to the radiographic terminus")
_WORKING = value_schema("working_length", "length", "Distance from the reference point to the end of the preparation")
_END = value_schema("end", "length", "How far from the radiographic terminus the preparation ends")
_GAUGE = value_schema("apical_gauge", "width", "Largest gauging file that goes to working length and binds there")
_ORIFICE = value_schema("orifice_depth", "length", "Distance from the reference point to the orifice")
_MOUTH = value_schema("orifice_width", "width", "Least width at the orifice")
_TAPER = value_schema("natural_taper", "width", "Growth of the least width of the canal before shaping")
_OVALITY = value_schema("ovality", "width", "Greatest width over least width")
_FORAMEN = value_schema("foramen", "width", "Least width of the foramen at the root surface")
_ANGLE = value_schema("angle", "curve", "Angle of the curve")
_RADIUS = value_schema("radius", "curve", "Radius of the curve")
_START = value_schema("start", "length", "Distance from the terminus at which the curve begins")
_BRANCH = value_schema("branch_diameter", "width", "Width of the side branch")
_CREST = value_schema("crest", "length", "Distance of the bone crest from the terminus")
_CEJ = value_schema("cej", "length", "Distance of the cemento-enamel junction from the terminus")
_WIDTHS = rows_schema("width", (2, 3), "Before shaping: rows of level, least width and, if known, greatest width [mm]")
_WALLS = rows_schema("wall", (2, 2), "Least dentine [mm]: a number, or rows of level and thickness", bare="wall")

Length: TypeAlias = Annotated[Value, _number, WithJsonSchema(_LENGTH)]
WorkingLength: TypeAlias = Annotated[Value, _number, WithJsonSchema(_WORKING)]
End: TypeAlias = Annotated[Value, _number, WithJsonSchema(_END)]
Gauge: TypeAlias = Annotated[Value, _number, WithJsonSchema(_GAUGE)]
OrificeDepth: TypeAlias = Annotated[Value, _number, WithJsonSchema(_ORIFICE)]
OrificeWidth: TypeAlias = Annotated[Value, _number, WithJsonSchema(_MOUTH)]
Taper: TypeAlias = Annotated[Value, _number, WithJsonSchema(_TAPER)]
Ovality: TypeAlias = Annotated[Value, _number, WithJsonSchema(_OVALITY)]
Foramen: TypeAlias = Annotated[Value, _number, WithJsonSchema(_FORAMEN)]
Angle: TypeAlias = Annotated[Value, _number, WithJsonSchema(_ANGLE)]
Radius: TypeAlias = Annotated[Value, _number, WithJsonSchema(_RADIUS)]
Start: TypeAlias = Annotated[Value, _number, WithJsonSchema(_START)]
Branch: TypeAlias = Annotated[Value, _number, WithJsonSchema(_BRANCH)]
Crest: TypeAlias = Annotated[Value, _number, WithJsonSchema(_CREST)]
Junction: TypeAlias = Annotated[Value, _number, WithJsonSchema(_CEJ)]
Widths: TypeAlias = Annotated[Rows, WithJsonSchema(_WIDTHS)]
Walls: TypeAlias = Annotated[Rows, _rows, WithJsonSchema(_WALLS)]
Error: TypeAlias = Annotated[float, Field(ge=0, le=5)]
Towards: TypeAlias = Annotated[str, WithJsonSchema({"enum": list(DIRECTIONS)})]


class About(Closed):
    """What the file is."""

    version: Literal[1]
    label: str = Field(
        pattern=PRINTABLE,
        min_length=1,
        max_length=80,
        description="A pseudonym; no name and no birth date of a patient",
    )
    invented: bool = Field(default=False, description="True for an example that was never a patient")
    note: str = Field(default="", max_length=2000)


class ToothTable(Closed):
    """Which tooth."""

    number: int
    notation: Literal["iso3950", "universal"] = "iso3950"


class FileTable(Closed):
    """The finishing file: an ISO size and taper, or diameters by mm from its tip."""

    size: int | None = None
    taper: float | None = Field(default=None, description="mm per mm: 0.04 for 4 %")
    name: str | None = Field(pattern=PRINTABLE, default=None, min_length=1, max_length=60)
    diameters_by_mm: list[list[float]] | None = Field(
        default=None, min_length=1, max_length=100, description="Rows of distance from the tip and diameter [mm]"
    )
    tolerance_mm: float | None = Field(default=None, ge=0, le=0.2)


class CurveTable(Closed):
    """One curve, in the plane in which it was seen; `second` is a curve in another plane."""

    angle_deg: Angle
    radius_mm: Radius | None = None
    start_mm: Start | None = None
    measure: Literal["schneider", "weine", "pruett"] = "schneider"
    towards: Towards = "distal"
    second: "CurveTable | None" = None


class BranchTable(Closed):
    """A side branch."""

    level_mm: float = Field(description="Distance from the terminus", ge=LIMITS["level"].low, le=LIMITS["level"].high)
    diameter_mm: Branch | None = None
    direction: str = Field(pattern=PRINTABLE, default="", max_length=40)
    kind: str = Field(pattern=PRINTABLE, default="lateral canal", min_length=1, max_length=40)
    length_mm: float | None = None


class WallSideTable(Closed):
    """The wall towards one side of the tooth."""

    side: Literal["mesial", "distal", "buccal", "lingual", "palatal"]
    by_level: list[list[float]] = Field(
        min_length=1, max_length=100, description="Rows of level and dentine towards this side [mm]"
    )


class PostTable(Closed):
    """The post that the tooth will carry."""

    wanted: bool


class JoinTable(Closed):
    """Where this canal meets another one."""

    canal: str = Field(pattern=PRINTABLE, min_length=1, max_length=60)
    level_mm: float = Field(description="Distance from the terminus", ge=LIMITS["level"].low, le=LIMITS["level"].high)


class ProfileTable(Closed):
    """The canal by station as it was read from a scan or from surface meshes; one entry per level in each list."""

    method: Literal["cone-beam scan", "micro-CT", "surface meshes"] = "cone-beam scan"
    z_mm: list[float] = Field(min_length=2, max_length=5000, description="Levels from the terminus, increasing")
    minor_mm: list[float] = Field(description="Least width")
    major_mm: list[float] = Field(description="Greatest width")
    area_mm2: list[float] | None = None
    wall_mm: list[float] | None = Field(default=None, description="Least dentine from the canal to the root surface")
    centre_mm: list[list[float]] | None = Field(default=None, description="Rows of x, y, z")
    axis: list[list[float]] | None = Field(default=None, description="Rows: direction of the greatest width")
    width_error_mm: Error | list[Error] | None = Field(
        default=None, description="One standard deviation, for all or by level"
    )
    wall_error_mm: Error | list[Error] | None = Field(
        default=None, description="One standard deviation, for all or by level"
    )
    remarks: list[Annotated[str, Field(max_length=400, pattern=PRINTABLE)]] = Field(
        default=[], max_length=40, description="What takes trust from the reading"
    )


class CanalTable(Closed):
    """One canal. Required: name, working length and finishing file."""

    name: str = Field(
        pattern=PRINTABLE, min_length=1, max_length=60, description="Trade name, such as 'mesiobuccal' or 'MB'"
    )
    reference: str = Field(pattern=PRINTABLE, default="cusp tip", max_length=80)
    working_length_mm: WorkingLength
    finishing_file: FileTable
    length_mm: Length | None = None
    end_mm: End | None = None
    apical_gauge: Gauge | None = None
    orifice_depth_mm: OrificeDepth | None = None
    orifice_width_mm: OrificeWidth | None = None
    natural_taper: Taper | None = None
    ovality: Ovality | None = None
    widest: Literal["buccolingual", "mesiodistal"] = "buccolingual"
    widths_mm: Widths | None = None
    foramen_mm: Foramen | None = None
    wall_mm: Walls | None = None
    wall_side: list[WallSideTable] = Field(default=[], max_length=5)
    crest_level_mm: Crest | None = None
    cej_level_mm: Junction | None = None
    post: PostTable | None = None
    joins: JoinTable | None = None
    curve: CurveTable | None = None
    side_branch: list[BranchTable] = Field(default=[], max_length=40)
    profile: ProfileTable | None = None
    readiness: ReadinessTable | None = None


class CaseModel(Closed):
    """A case file."""

    case: About
    tooth: ToothTable
    canal: list[CanalTable] = Field(min_length=1, max_length=8)
    correction: list[CorrectionTable] = Field(
        default=[], max_length=400, description="What was corrected in the canals as they were found in a scan"
    )
