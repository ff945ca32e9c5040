"""Thermal injury at the root surface: dose, time above a level, distance to the limit.

CEM43 = sum of dt * R^(43 - T), dt in minutes, R = 0.5 at or above 43 deg C and 0.25 below (Sapareto & Dewey 1984, Int J
Radiat Oncol Biol Phys 10:787-800). There is no limit of its own for bone: 47 deg C for one minute (Eriksson &
Albrektsson 1983,
J Prosthet Dent 50:101-107) equals 16 minutes, a derived limit. The number is a guide: cells died after 5 s at 50 deg C,
which counts as 10.7 minutes.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

BONE_LEVEL = 47.0
BONE_SECONDS = 60.0
BONE_CEM43 = 16.0
RISE_LIMIT = 10.0


def cem43(temperature: ArrayLike, time: ArrayLike) -> NDArray[np.float64]:
    """Cumulative equivalent minutes at 43 deg C of `temperature` (t, ...) at `time` (t,) [s]; shape (...).

    Temperature is taken as linear between times, and the dose of each piece is integrated in closed form.
    """
    warmth = np.asarray(temperature, dtype=float) - 43.0
    minutes = np.diff(np.asarray(time, dtype=float)).reshape(-1, *([1] * (warmth.ndim - 1))) / 60.0
    primitive = _dose_primitive(warmth)
    change = np.diff(warmth, axis=0)
    level = np.abs(change) < 1e-6
    mean = (_rate(warmth[1:]) + _rate(warmth[:-1])) / 2
    slope = np.where(level, 1.0, change)
    return np.asarray(np.sum(minutes * np.where(level, mean, np.diff(primitive, axis=0) / slope), axis=0))


def seconds_above(temperature: ArrayLike, time: ArrayLike, level: float = BONE_LEVEL) -> NDArray[np.float64]:
    """Seconds that `temperature` (t, ...) spends above `level`, linear between `time` (t,) [s]; shape (...)."""
    excess = np.asarray(temperature, dtype=float) - level
    step = np.diff(np.asarray(time, dtype=float)).reshape(-1, *([1] * (excess.ndim - 1)))
    high, low = np.maximum(excess[1:], excess[:-1]), np.minimum(excess[1:], excess[:-1])
    span = np.where(high > low, high - low, 1.0)
    share = np.where(low >= 0, np.where(high > 0, 1.0, 0.0), np.clip(high, 0, None) / span)
    return np.asarray(np.sum(step * share, axis=0))


def margin(rise: ArrayLike, limit: float = RISE_LIMIT) -> NDArray[np.float64]:
    """What is left of the limit of 10 K at the root surface (negative: passed), K."""
    return np.asarray(limit - np.asarray(rise, dtype=float))


def _rate(warmth: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.where(warmth >= 0, np.exp2(np.minimum(warmth, 200.0)), np.exp2(2 * np.minimum(warmth, 0.0))))


def _dose_primitive(warmth: NDArray[np.float64]) -> NDArray[np.float64]:
    """Integral of the rate over temperature from 43 deg C."""
    ln2 = np.log(2.0)
    above = (np.exp2(np.clip(warmth, 0, 200)) - 1) / ln2
    below = (np.exp2(2 * np.minimum(warmth, 0.0)) - 1) / (2 * ln2)
    return np.asarray(above + below)
