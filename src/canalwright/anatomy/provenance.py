"""Source and error of a measured value, from its method when nobody gave the error."""

from canalwright.anatomy import averages
from canalwright.anatomy.measurements import Measured
from canalwright.quantities import Origin, Source

_SUPPOSED = {"length": "radiograph", "width": "radiograph", "wall": "radiograph", "curve": "radiograph"}
_ORIGINS = {
    "cone-beam scan": Origin.SCAN,
    "micro-CT": Origin.SCAN,
    "surface meshes": Origin.SCAN,
    "published average": Origin.AVERAGE,
    "assumed": Origin.ASSUMED,
}


def error_of(value: Measured, quantity: str) -> float:
    """One standard deviation: as given, else that of the method, else that of a radiograph.

    mm for length, width and wall; a share of the angle for curve (a given error is then divided by the value).
    """
    if value.error is not None:
        return value.error / max(abs(value.value), 1e-9) if quantity == "curve" else value.error
    return averages.reading_error(quantity, value.method or _SUPPOSED[quantity]).value


def source_of(value: Measured, quantity: str) -> Source:
    """Origin by the method, and in words the method with its error."""
    origin = _ORIGINS.get(value.method, Origin.MEASURED)
    method = value.method or "method not given"
    if value.error is not None:
        return Source(origin, f"{method}, error as given")
    supposed = averages.reading_error(quantity, value.method or _SUPPOSED[quantity])
    how = method if value.method else f"{method}, error of a {_SUPPOSED[quantity]} supposed"
    return Source(origin, f"{how}; error: {supposed.source.detail}")
