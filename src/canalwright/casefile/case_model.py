"""The case file as it is written: tables and keys, types only. Ranges are checked by `canalwright.anatomy`."""

from typing import Literal

from pydantic import Field

from canalwright.anatomy import averages
from canalwright.anatomy.centreline import DIRECTIONS
from canalwright.anatomy.limits import LIMITS
from canalwright.casefile.fields import Closed, measured, rows

_LENGTH, _WIDTH, _WALL, _CURVE = (averages.methods(q) for q in ("length", "width", "wall", "curve"))

Length = measured("length", _LENGTH, "Distance from the reference point to the radiographic terminus")
WorkingLength = measured("working_length", _LENGTH, "Distance from the reference point to the end of the preparation")
End = measured("end", _LENGTH, "How far from the radiographic terminus the preparation ends")
Gauge = measured("apical_gauge", _WIDTH, "Largest gauging file that goes to working length without binding before it")
OrificeDepth = measured("orifice_depth", _LENGTH, "Distance from the reference point to the orifice")
OrificeWidth = measured("orifice_width", _WIDTH, "Least width at the orifice")
Taper = measured("natural_taper", _WIDTH, "Growth of the least width of the canal before shaping")
Ovality = measured("ovality", _WIDTH, "Greatest width over least width")
Foramen = measured("foramen", _WIDTH, "Least width of the foramen at the root surface")
Angle = measured("angle", _CURVE, "Angle of the curve")
Radius = measured("radius", _CURVE, "Radius of the curve")
Start = measured("start", _LENGTH, "Distance from the terminus at which the curve begins")
Branch = measured("branch_diameter", _WIDTH, "Width of the side branch")
Crest = measured("crest", _LENGTH, "Distance of the bone crest from the terminus")
Junction = measured("cej", _LENGTH, "Distance of the cemento-enamel junction from the terminus")
Widths = rows("width", (2, 3), _WIDTH, "Rows of level, least width and, if known, greatest width [mm]", bare=False)
Walls = rows("wall", (2, 2), _WALL, "Least dentine [mm]: a number, or rows of level and thickness", bare=True)


class About(Closed):
    """What the file is."""

    version: Literal[1]
    label: str = Field(min_length=1, max_length=80, description="A pseudonym; no name and no birth date of a patient")
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
    name: str | None = Field(default=None, max_length=60)
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
    towards: Literal[DIRECTIONS] = "distal"  # type: ignore[valid-type]
    second: "CurveTable | None" = None


class BranchTable(Closed):
    """A side branch."""

    level_mm: float = Field(description="Distance from the terminus", ge=LIMITS["level"].low, le=LIMITS["level"].high)
    diameter_mm: Branch | None = None
    direction: str = Field(default="", max_length=40)
    kind: str = Field(default="lateral canal", max_length=40)
    length_mm: float | None = None


class PostTable(Closed):
    """The post that the tooth will carry."""

    wanted: bool


class ProfileTable(Closed):
    """The canal by station as it was read from a scan or from surface meshes; one entry per level in each list."""

    method: Literal["cone-beam scan", "micro-CT", "surface meshes"] = "cone-beam scan"
    z_mm: list[float] = Field(min_length=2, max_length=5000, description="Levels from the terminus, increasing")
    minor_mm: list[float]
    major_mm: list[float]
    area_mm2: list[float] | None = None
    wall_mm: list[float] | None = None
    centre_mm: list[list[float]] | None = Field(default=None, description="Rows of x, y, z")
    axis: list[list[float]] | None = Field(default=None, description="Rows: direction of the greatest width")
    width_error_mm: float | None = Field(default=None, ge=0, le=2)
    wall_error_mm: float | None = Field(default=None, ge=0, le=2)


class CanalTable(Closed):
    """One canal. Required: name, working length and finishing file."""

    name: str = Field(min_length=1, max_length=60, description="Trade name, such as 'mesiobuccal' or 'MB'")
    reference: str = Field(default="cusp tip", max_length=80)
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
    crest_level_mm: Crest | None = None
    cej_level_mm: Junction | None = None
    curve: CurveTable | None = None
    side_branch: list[BranchTable] = Field(default=[], max_length=40)
    post: PostTable | None = None
    profile: ProfileTable | None = None


class CaseModel(Closed):
    """A case file."""

    case: About
    tooth: ToothTable
    canal: list[CanalTable] = Field(min_length=1, max_length=8)
