"""A radiograph laid straight along a line: rows follow the canal apically, columns lie across it."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator, make_smoothing_spline
from scipy.ndimage import map_coordinates

from canalwright.assessment.film.marks import FilmError

Array = NDArray[np.float64]
BEYOND, HALF = 3.0, 2.2
"""How far past the last mark, and to either side, the picture is laid straight, mm."""


@dataclass(frozen=True)
class Straight:
    """Greys [along, across] at every pixel: `s` (n,) mm along the line, growing apically, `u` (m,) mm across, positive to the right
    of the way apically. `line` (n, 2) and `normal` (n, 2) in pixels. `mm` is the size of a pixel. NaN outside the picture.
    """

    grey: Array = field(repr=False)
    s: Array
    u: Array
    line: Array
    normal: Array
    mm: float

    def pixel(self, s: float, u: float = 0.0) -> Array:
        """A place of the straight picture in the picture, (x, y)."""
        middle = np.array([np.interp(s, self.s, c) for c in self.line.T])
        way = np.array([np.interp(s, self.s, c) for c in self.normal.T])
        return np.asarray(middle + way * u / self.mm)

    def station(self, point: Array) -> float:
        """Arc length s of the place on the line nearest to a pixel (x, y)."""
        away = np.linalg.norm(self.line - point, axis=1)
        at = int(np.argmin(away))
        i, j = max(at - 1, 0), min(at + 1, len(self.s) - 1)
        step = self.line[j] - self.line[i]
        share = float((point - self.line[i]) @ step / max(float(step @ step), 1e-12))
        return float(self.s[i] + np.clip(share, -5, 6) * (self.s[j] - self.s[i]))


def along(points: Array, mm: float) -> tuple[Array, Array, Array]:
    """A smooth line through marks (k, 2) at every pixel, straight on past its last point: s (n,) mm, line and normal (n, 2)."""
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    if (steps < 0.5).any():
        points = points[np.append(True, steps >= 0.5)]
    if len(points) < 2:
        raise FilmError("two marks of the line fall on one point: mark it again")
    t = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1)))
    if len(points) > 2:
        fine = np.linspace(0, t[-1], int(t[-1]) + 1)
        curve = np.column_stack([PchipInterpolator(t, c)(fine) for c in points.T])
    else:
        curve = points
    length = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(curve, axis=0), axis=1)))
    even = np.arange(0.0, length[-1], 1.0)
    line = np.column_stack([np.interp(even, length, c) for c in curve.T])
    last = line[-1] - line[-min(12, len(line))]
    last /= np.linalg.norm(last)
    more = np.arange(1, int(BEYOND / mm) + 1)
    line = np.vstack([line, line[-1] + more[:, None] * last])
    tangent = np.gradient(_smooth(line), axis=0)
    tangent /= np.linalg.norm(tangent, axis=1)[:, None]
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    return np.asarray(np.arange(len(line)) * mm, float), line, normal


def straighten(pixels: NDArray[np.float32], points: Array, mm: float, half: float = HALF) -> Straight:
    """The picture along a line through marks, `half` mm to either side. Raises FilmError for a line of one point."""
    s, line, normal = along(points, mm)
    u = np.asarray(np.arange(-int(half / mm), int(half / mm) + 1) * mm, float)
    place = line[:, None, :] + normal[:, None, :] * (u / mm)[None, :, None]
    grey = map_coordinates(pixels.astype(float), [place[..., 1], place[..., 0]], order=1, mode="constant", cval=np.nan)
    return Straight(grey, s, u, line, normal, mm)


def recentred(
    picture: NDArray[np.float32], straight: Straight, s: Array, centre: Array, last: float, to: Array
) -> Straight:
    """Laid straight again along centres (mm across) found at stations `s` up to `last`; beyond it on to a mark `to`."""
    keep = (s <= last) & np.isfinite(centre)
    if keep.sum() < 6:
        return straight
    smooth = make_smoothing_spline(s[keep], centre[keep], lam=0.5)
    knots = np.arange(float(s[keep][0]), float(s[keep][-1]), 0.5)
    if len(knots) < 3:
        return straight
    points = np.array([straight.pixel(a, float(smooth(a))) for a in knots])
    if straight.station(to) > knots[-1] + 0.6:
        points = np.vstack([points, to])
    head = straight.pixel(0.0, float(centre[keep][0]))[None]
    return straighten(picture, np.vstack([head, points]) if knots[0] > 0.3 else points, straight.mm)


def _smooth(line: Array) -> Array:
    kernel = np.hanning(23)[1:-1]
    kernel /= kernel.sum()
    padded = np.vstack([2 * line[0] - line[10:0:-1], line, 2 * line[-1] - line[-2:-12:-1]])
    return np.column_stack([np.convolve(c, kernel, mode="valid") for c in padded.T])
