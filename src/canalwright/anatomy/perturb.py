"""A canal moved by the errors of its readings, one at a time or many draws at once.

Keys as in `Canal.errors`: `width` is added to the native minor and major width [mm], `wall` to the wall [mm],
in draws times the weight of each station (`Canal.weights`), in `perturbed` as given; `curve` scales the departure of
the centreline from its coronal straight line. The arc length of a scaled centreline is left as it was. Nothing gets
narrower than `LEAST`.
"""

from dataclasses import replace

import numpy as np

from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Array, Lumen
from canalwright.quantities import Sample

LEAST = 0.05
STRAIGHT_PART = 3.0


def perturbed(canal: Canal, *, width: float = 0.0, wall: float = 0.0, curve: float = 1.0) -> Canal:
    """The canal with its native lumen moved: the same width and wall added at every station."""
    old = canal.native
    if width == 0.0 and wall == 0.0 and curve == 1.0:
        return canal
    minor, major = (np.maximum(w + width, LEAST) for w in (old.minor, old.major))
    native = replace(
        old,
        minor=minor,
        major=major,
        wall=np.maximum(old.wall + wall, LEAST) if wall else old.wall,
        centre=scaled_centres(old, np.array([curve]))[0],
        area=old.area * (minor * major) / (old.minor * old.major),
    )
    return canal.with_native(native)


def native_widths(canal: Canal, sample: Sample) -> tuple[Array, Array]:
    """Native minor and major width of every draw, shape (draws, stations) each, mm."""
    offset = _weighted(canal, sample, "width")
    return np.maximum(canal.native.minor + offset, LEAST), np.maximum(canal.native.major + offset, LEAST)


def walls(canal: Canal, sample: Sample) -> Array:
    """Wall thickness of every draw, shape (draws, stations), mm."""
    return np.maximum(canal.native.wall + _weighted(canal, sample, "wall"), LEAST)


def centres(canal: Canal, sample: Sample) -> Array:
    """Centreline of every draw, shape (draws, stations, 3), mm."""
    return scaled_centres(canal.native, _draws(sample, "curve", 1.0))


def departures(lumen: Lumen) -> Array:
    """Departure of the centreline from its coronal straight line, square to that line, shape (n, 3), mm.

    The line goes through the most coronal point along the chord of the coronal `STRAIGHT_PART` mm.
    """
    coronal = int(np.argmax(lumen.z))
    below = int(np.argmin(np.abs(lumen.z - (lumen.z[coronal] - STRAIGHT_PART))))
    along = lumen.centre[coronal] - lumen.centre[below]
    along = along / max(float(np.linalg.norm(along)), 1e-12)
    offset = lumen.centre - lumen.centre[coronal]
    return np.asarray(offset - (offset @ along)[:, None] * along)


def scaled_centres(lumen: Lumen, factors: Array) -> Array:
    """Centrelines whose departures are scaled by `factors` (d,), shape (d, n, 3), mm."""
    away = departures(lumen)
    return np.asarray(lumen.centre[None] + (np.asarray(factors, dtype=float) - 1.0)[:, None, None] * away[None])


def _weighted(canal: Canal, sample: Sample, name: str) -> Array:
    """Offsets of every draw at every station, shape (draws, stations), mm."""
    weight = canal.weights.get(name, np.ones(canal.native.size))
    return np.outer(_draws(sample, name, 0.0), weight)


def _draws(sample: Sample, name: str, otherwise: float) -> Array:
    return sample[name] if name in sample.readings else np.full(sample.size, otherwise)
