"""Where the filling ends and begins along the canal: a step in grey, found finer than a pixel.

Along the canal's middle the grey, less that of the dentine to both sides of the filling in the same row, is
(f0 + f1 s) N((s1 - s) / w) + d0 + d1 s  about the apical end (N: normal distribution function): filling over dentine, blurred.
Fitted over `ROOM` mm to either side of a first guess. The dentine beside it is taken off so that the root's own end is no step.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import ndtr

from canalwright.assessment.film.marks import FilmError
from canalwright.assessment.film.profile import Profile
from canalwright.assessment.film.straight import Straight

Array = NDArray[np.float64]
ROOM = 1.2
OWN = 0.04
"""What the fit does not know: the filling's end is no plane (standard deviation, mm; our own estimate)."""


@dataclass(frozen=True, slots=True)
class Edge:
    """Arc length `s` of an end of the filling and its standard deviation, mm; `sure` whether a step was seen."""

    s: float
    error: float
    sure: bool = True


def core(straight: Straight, profile: Profile) -> Array:
    """Mean grey over dentine within the middle of the filling (half its width), (n,)."""
    half = np.maximum(np.nan_to_num(profile.width, nan=0.3) * 0.25, 1.5 * straight.mm)
    inside = np.abs(straight.u[None, :] - profile.centre[:, None]) <= half[:, None]
    grey = np.where(inside & np.isfinite(straight.grey), straight.grey, np.nan)
    with np.errstate(invalid="ignore"):
        counted = np.isfinite(grey).sum(1)
        mean = np.nansum(np.nan_to_num(grey), axis=1) / np.maximum(counted, 1)
    return np.where(counted > 0, mean, np.nan)


def over_dentine(straight: Straight, profile: Profile) -> Array:
    """`core` less the mean grey of the dentine on both sides in the same row, (n,)."""
    away = np.abs(straight.u[None, :] - profile.centre[:, None]) - profile.width[:, None] / 2
    beside = (away > 0.15) & (away < 0.45) & np.isfinite(straight.grey)
    counted = np.maximum(beside.sum(1), 1)
    flank = np.where(beside, np.nan_to_num(straight.grey), 0.0).sum(1) / counted
    return np.asarray(core(straight, profile) - flank)


def apical_end(straight: Straight, steady: Profile) -> Edge:
    """The apical end of the filling. Raises FilmError where no end is seen."""
    s, mm = straight.s, straight.mm
    over = over_dentine(straight, _carried(steady))
    return _step(s, over, _last_filled(over, steady, mm), steady.noise, falling=True)


def coronal_end(straight: Straight, steady: Profile) -> Edge:
    """The top of the filling; not sure where it runs on to the first mark or a restoration covers it."""
    over = core(straight, steady) - steady.level
    local = np.where(steady.there, steady.peak, np.nan)
    filled = np.nan_to_num(over / local) > 0.5
    rows = np.flatnonzero(filled)
    if not len(rows):
        raise FilmError("no filling is seen along the line: mark the line on the filling")
    top = rows[0]
    if top * straight.mm < ROOM / 2:
        return Edge(float(straight.s[top]), 0.3, sure=False)
    return _step(straight.s, core(straight, steady), int(top), steady.noise, falling=False)


def _carried(steady: Profile) -> Profile:
    """Below the last place with filling, the centre and width stay as they were there."""
    rows = np.flatnonzero(steady.there)
    last, before = rows[-1], rows[max(len(rows) - 25, 0)]
    n = np.arange(len(steady.centre))
    slope = (steady.centre[last] - steady.centre[before]) / max(last - before, 1)
    centre = np.where(n > last, steady.centre[last] + slope * np.minimum(n - last, 40), steady.centre)
    width = np.where(n > last, steady.width[last], steady.width)
    return Profile(
        steady.peak, centre, width, steady.width_error, steady.level, steady.slope, steady.noise, steady.there
    )  # fmt: skip


def _last_filled(over: Array, steady: Profile, mm: float) -> int:
    """The last row, apically, at which the middle is still half as bright over dentine as the filling above it."""
    rows = np.flatnonzero(steady.there)
    size = max(int(1.0 / mm), 3)
    smooth = np.convolve(np.nan_to_num(over), np.ones(5) / 5, mode="same")
    for row in rows[::-1]:
        above = steady.peak[max(row - size, 0) : max(row - size // 4, 1)]
        if smooth[row] > 0.5 * float(np.median(above)):
            return int(row)
    raise FilmError("the end of the filling is not seen: mark it")


def _step(s: Array, grey: Array, first: int, noise: float, *, falling: bool) -> Edge:
    mm = float(s[1] - s[0])
    room = int(ROOM / mm)
    low, high = max(first - room, 0), min(first + room, len(s))
    use = np.arange(low, high)[np.isfinite(grey[low:high])]
    if len(use) < 10:
        return Edge(float(s[first]), 0.3, sure=False)
    x, y = s[use] - s[first], grey[use]
    sign = 1.0 if falling else -1.0
    height = float(np.ptp(y)) or 1.0

    def made(p: Array) -> Array:
        return np.asarray((p[0] + p[1] * x) * ndtr(sign * (p[2] - x) / p[3]) + p[4] + p[5] * x)

    start = np.array([height, 0.0, 0.0, 0.08, float(y.min()), 0.0])
    low_, high_ = [0, -height, -0.8, 0.02, -np.inf, -0.5 * height], [3 * height, height, 0.8, 0.3, np.inf, 0.5 * height]
    fit = least_squares(
        lambda p: (made(p) - y) / height, np.clip(start, low_, high_), bounds=(low_, high_), loss="soft_l1", f_scale=0.1
    )
    spread = float(np.mean(fit.fun**2)) * len(x) / max(len(x) - 6, 1)
    try:
        error = float(np.sqrt(spread * np.linalg.inv(fit.jac.T @ fit.jac + 1e-12 * np.eye(6))[2, 2]))
    except np.linalg.LinAlgError:
        error = 0.3
    seen = fit.x[0] > 4 * noise / 3
    return Edge(float(s[first] + fit.x[2]), float(np.hypot(min(error, 0.5), OWN)), sure=bool(seen))
