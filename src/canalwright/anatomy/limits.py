"""What a measurement may be, and the words for one that cannot be.

`LIMITS` gives the range in which a value is possible in a human tooth: wide on purpose. Inside it a value
may still be doubtful; that is for `canalwright.anatomy.doubts`. The ranges are common practice.
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limit:
    """Possible range of a value, ends included; `action` says what to do about a value outside it."""

    low: float
    high: float
    unit: str
    action: str

    def __str__(self) -> str:
        return f"{self.low:g} to {self.high:g} {self.unit}".strip()


_RADIOGRAPH = "measure it again on the radiograph or leave it out"
LIMITS: dict[str, Limit] = {
    "working_length": Limit(8, 40, "mm", "give the distance from the reference point to the end of the preparation"),
    "length": Limit(8, 42, "mm", "give the distance from the reference point to the radiographic terminus"),
    "end": Limit(0, 3, "mm", "give how far from the radiographic terminus the preparation ends"),
    "orifice_depth": Limit(1, 28, "mm", "give the distance from the reference point to the orifice"),
    "apical_gauge": Limit(6, 140, "(ISO size)", "give the size of the gauging file, such as 30"),
    "orifice_width": Limit(0.15, 5, "mm", "give the least width of the canal at its orifice"),
    "natural_taper": Limit(0, 0.4, "mm per mm", "give the growth of the width per mm, such as 0.05"),
    "ovality": Limit(1, 8, "(greatest width / least width)", "divide the greatest width by the least"),
    "width": Limit(0.05, 5, "mm", _RADIOGRAPH),
    "foramen": Limit(0.05, 3, "mm", "give the width of the foramen at the root surface or leave it out"),
    "wall": Limit(0.05, 6, "mm", "give the least thickness of dentine from canal to root surface"),
    "level": Limit(0, 30, "mm", "give the distance from the radiographic terminus, not from the reference point"),
    "crest": Limit(0, 30, "mm", "give the distance of the bone crest from the radiographic terminus"),
    "cej": Limit(2, 30, "mm", "give the distance of the cemento-enamel junction from the radiographic terminus"),
    "angle": Limit(0, 120, "degrees", "give the angle of the curve in degrees"),
    "radius": Limit(1, 100, "mm", "give the radius of the curve"),
    "start": Limit(0.2, 28, "mm", "give the distance from the terminus at which the curve begins"),
    "branch_diameter": Limit(0.01, 1.5, "mm", "give the width of the side branch or leave it out"),
    "file_taper": Limit(0, 0.2, "mm per mm", "give the taper as a ratio: 0.04 for 4 %"),
    "file_diameter": Limit(0.05, 3, "mm", "give the diameter of the file at that distance from its tip"),
    "error": Limit(0, 20, "", "give one standard deviation, in the unit of the value"),
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One value that cannot be: its key, the value as text, what is allowed, and what to do."""

    key: str
    value: str
    allowed: str
    action: str

    def __str__(self) -> str:
        return f"{self.key} = {self.value}: allowed {self.allowed}; {self.action}"


class MeasurementError(ValueError):
    """Measurements that describe no possible canal; `faults` has all that was found, one line each."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        self.faults = faults
        super().__init__("\n".join(map(str, faults)))


def out_of_limits(key: str, value: float, *, limit: str | None = None) -> Fault | None:
    """The fault of a value outside its limits, with a hint when a unit seems mixed up; None when it is possible."""
    bound = LIMITS[limit or key]
    if math.isfinite(value) and bound.low <= value <= bound.high:
        return None
    return Fault(key, shown(value), str(bound), unit_hint(bound, value) or bound.action)


def shown(value: object) -> str:
    """A value as it appears in an error, cut when it is long."""
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def unit_hint(bound: Limit, value: float) -> str:
    """'looks like metres: ...' when the value is far out and would be possible in another unit, else ''."""
    if not math.isfinite(value) or value <= 0 or bound.low <= value <= bound.high:
        return ""
    for factor, name in _OTHER_UNITS.get(bound.unit, ()):
        far = value > bound.high / (20 * factor) if factor < 1 else value < 20 * bound.low / factor
        if far and max(bound.low, 1e-9) <= value * factor <= bound.high:
            return f"looks like {name}: write {value * factor:.4g}"
    return ""


_OTHER_UNITS: dict[str, tuple[tuple[float, str], ...]] = {
    "mm": ((1000.0, "metres"), (0.001, "micrometres")),
    "mm per mm": ((0.01, "per cent"),),
    "(ISO size)": ((100.0, "millimetres"), (0.1, "micrometres")),
}
