"""The fitted tube near the root's end, as the search for its exit sees it: its line carried on, its darkness, its mouth."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.tracing.blurred_ellipse import share
from canalwright.imaging.tracing.frame import Frame
from canalwright.imaging.tracing.profile_fit import Fit

Array = NDArray[np.float64]
TURNING = 0.15
"""Curvature that the canal may have where its line goes straight on, 1/mm, standard deviation (common practice: last bends of 5 to
10 mm in radius)."""
BASE = 0.6
"""Length over which the direction is taken of the straight line that carries the centre on, mm."""
RIM = 24
"""Points of the mouth's rim."""


@dataclass(frozen=True)
class Ending:
    """Line and tube; below the station `straight` the line goes straight on, below `seen` no width was fitted to voxels."""

    frame: Frame
    fit: Fit
    straight: float
    seen: float

    def line(self, s: Array) -> tuple[Array, Array, Array, Array]:
        """Points of the tube's centre, tangents (coronal), normals and binormals at stations (k,), each (k, 3)."""
        points, up, one, two = self.frame.at(s)
        cu, cv = (carried(self.fit, name, s, self.straight) for name in ("cu", "cv"))
        return points + cu[:, None] * one + cv[:, None] * two, up, one, two

    def places(self, points: Array) -> tuple[Array, Array, Array]:
        """Station and place (x, y) across from the tube's centre, mm, of LPS points (..., 3)."""
        s, u, v = self.frame.place(points)
        cu, cv = (carried(self.fit, name, s.ravel(), self.straight).reshape(s.shape) for name in ("cu", "cv"))
        return s, u - cu, v - cv

    def hole(self, s: Array, x: Array, y: Array, low: float) -> Array:
        """Greys that the lumen takes away at places (any shape), below the station `low` as wide as it is there."""
        f = self.fit
        inside = np.clip(s.ravel(), max(low, self.seen), f.knots["m"][-4])
        short, long, angle = f.half_widths(inside)
        dark = share(x.ravel(), y.ravel(), long, short, angle, f.spread)
        return np.asarray(((f.value("d", inside) - f.lumen) * dark).reshape(s.shape))

    def reach(self, s: float, turn: Array) -> Array:
        """Half width (n,) of the lumen at a station towards angles `turn` (n,), mm."""
        short, long, angle = (float(a[0]) for a in self.fit.half_widths(np.array([max(s, self.seen)])))
        return np.asarray(1 / np.sqrt((np.cos(turn - angle) / long) ** 2 + (np.sin(turn - angle) / short) ** 2))

    def rim(self, s: float) -> Array:
        """Places (RIM, 2) of the lumen's edge at a station, across from its centre."""
        turn = np.linspace(0, 2 * np.pi, RIM, endpoint=False)
        return np.asarray(self.reach(s, turn)[:, None] * np.column_stack([np.cos(turn), np.sin(turn)]))

    def wide_error(self, s: float) -> float:
        """Standard deviation of the mean half width at a station, as a share of it."""
        return float(self.fit.errors(np.array([max(s, self.seen)]))[0][0])

    def aside(self, s: float) -> float:
        """How far (mm, standard deviation) the line may lie beside the canal at a station."""
        last = np.array([self.straight])
        _, _, centre = self.fit.errors(last)
        on = max(0.0, self.straight - s)
        return float(np.sqrt(centre[0] ** 2 + (self.fit.tilt(last)[0] * on) ** 2 + (TURNING * on**2 / 2) ** 2))


def carried(fit: Fit, name: str, s: Array, low: float) -> Array:
    """A centre coordinate at stations `s`, carried on in a straight line below `low`."""
    a, b = fit.value(name, np.array([low, low + BASE]))
    return np.where(s < low, a + (s - low) * (b - a) / BASE, fit.value(name, s))
