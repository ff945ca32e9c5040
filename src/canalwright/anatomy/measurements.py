"""What a clinician measures in one canal, before any of it is made into geometry.

Depths are distances from the reference point (what a rubber stop shows); levels are distances from the
radiographic terminus. Lengths mm, angles degrees, gauges as ISO sizes.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from canalwright.anatomy.lumen import Array, Lumen
from canalwright.anatomy.sides import SideWall
from canalwright.anatomy.tooth import Tooth
from canalwright.instruments import File, Profile, iso3630

Measure = Literal["schneider", "weine", "pruett"]


@dataclass(frozen=True, slots=True)
class Measured:
    """A value, how it was found ("apex locator", say) and its error as one standard deviation.

    Without an error, the method sets it (`averages.toml`, table `methods`).
    """

    value: float
    method: str = ""
    error: float | None = None


@dataclass(frozen=True, slots=True)
class Curve:
    """One curve of the centreline, seen in one view.

    `measure` says what `angle` is: "schneider" (between the coronal axis and the line from the start of
    the curve to the foramen) or "weine" and "pruett" (between the two tangents). `start` is the level at
    which the canal leaves its straight coronal course, `towards` where its tip points.
    """

    angle: Measured
    radius: Measured | None = None
    start: Measured | None = None
    measure: Measure = "schneider"
    towards: str = "distal"


@dataclass(frozen=True, slots=True)
class SideBranch:
    """A portal of exit other than the foramen, at `level` mm from the terminus."""

    level: float
    diameter: Measured | None = None
    direction: str = ""
    kind: str = "lateral canal"
    length: float | None = None


@dataclass(frozen=True)
class Measurements:
    """The measurements of one canal; only the first four are required, the rest falls back on averages.

    `widths`: rows (level, least width, greatest width or None). `walls`: rows (level, thickness); `side_walls`
    the same towards a side of the tooth, whose least stands for `walls` where that is not given.
    `native`: the lumen when it was read from a scan or from surface meshes; it replaces every width and curve, and
    the wall where it has one (NaN: not found there). `native_width_error`, `native_wall_error`: standard deviations
    of that reading, mm, one for all or one by station of `native`. `joins`: the canal that this one meets, and at
    which level. `remarks`: what takes trust from the reading.
    """

    tooth: Tooth
    canal: str
    working_length: Measured
    file: File
    reference: str = "cusp tip"
    end: Measured | None = None
    length: Measured | None = None
    apical_gauge: Measured | None = None
    orifice_depth: Measured | None = None
    orifice_width: Measured | None = None
    natural_taper: Measured | None = None
    ovality: Measured | None = None
    widest: str = "buccolingual"
    widths: tuple[tuple[float, float, float | None], ...] = ()
    widths_method: str = ""
    widths_error: float | None = None
    foramen: Measured | None = None
    curves: tuple[Curve, ...] = ()
    walls: tuple[tuple[float, float], ...] = ()
    walls_method: str = ""
    walls_error: float | None = None
    side_walls: tuple[SideWall, ...] = ()
    branches: tuple[SideBranch, ...] = ()
    crest: Measured | None = None
    cej: Measured | None = None
    post: bool = False
    native: Lumen | None = field(default=None, repr=False)
    native_method: str = "cone-beam scan"
    native_width_error: float | Array | None = None
    native_wall_error: float | Array | None = None
    joins: tuple[str, float] | None = None
    remarks: tuple[str, ...] = ()

    @classmethod
    def of(
        cls,
        *,
        tooth: Tooth | int,
        canal: str,
        working_length: Measured | float,
        finishing_file: File | tuple[int, float],
        curve: Curve | float | Sequence[Curve] = (),
        wall: float | Mapping[float, float] | Sequence[tuple[float, float]] = (),
        **others: Any,
    ) -> "Measurements":
        """Measurements from plain values: numbers, pairs and mappings where that says enough.

        `finishing_file=(30, 0.04)` is an ISO size and a taper; `curve=25` a Schneider angle; `wall={3: 1.0, 7: 1.2}`
        thickness by level. Any other field is taken by its name; a number stands for `Measured(number)`.
        Raises MeasurementError for a value that cannot be, TypeError for a field that does not exist.
        """
        values: dict[str, Any] = {
            k: Measured(float(v)) if k in _MEASURED and _is_number(v) else v for k, v in others.items()
        }
        if isinstance(curve, int | float):
            curve = (Curve(Measured(float(curve))),)
        if isinstance(wall, int | float):
            wall = ((0.0, float(wall)), (30.0, float(wall)))
        walls = tuple(sorted(wall.items() if isinstance(wall, Mapping) else wall))
        return cls(
            tooth=tooth if isinstance(tooth, Tooth) else Tooth(tooth),
            canal=canal,
            working_length=Measured(float(working_length)) if _is_number(working_length) else working_length,  # type: ignore[arg-type]
            file=finishing_file if isinstance(finishing_file, File) else iso_file(*finishing_file),
            curves=(curve,) if isinstance(curve, Curve) else tuple(curve),
            walls=tuple((float(a), float(b)) for a, b in walls),
            **values,
        )


def iso_file(size: int, taper: float) -> File:
    """A finishing file of ISO size and uniform taper [mm per mm]; raises MeasurementError for an impossible one."""
    from canalwright.anatomy.limits import Fault, MeasurementError, out_of_limits

    fault = out_of_limits("finishing_file.taper", taper, limit="file_taper")
    if fault is None and size not in iso3630.SIZES:
        try:
            iso3630.check_size(size)
        except ValueError as error:
            fault = Fault("finishing_file.size", str(size), "sizes of ISO 3630-1", str(error))
    if fault is not None:
        raise MeasurementError((fault,))
    profile = Profile.uniform(size / 100, taper, iso3630.WORKING_PART)
    return File(
        f"{size:02d}/{taper:.3g}".replace("/0.", "/.").replace("/.", "/0."), profile, size, iso3630.file_tolerance(size)
    )


_MEASURED = {
    "end", "length", "apical_gauge", "orifice_depth", "orifice_width", "natural_taper", "ovality", "foramen", "crest",
    "cej",
}  # fmt: skip


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
