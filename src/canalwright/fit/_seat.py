"""Compiled: how deep a stack of diameters goes in a lumen that it follows. Imported on first use."""

import numpy as np
from numpy.typing import NDArray

from canalwright.kernels import compiler

njit = compiler("canalwright.fit")

Array = NDArray[np.float64]


@njit
def room_for(width: float, at: Array, diameter: Array) -> float:
    """Greatest distance from the tip up to which no diameter exceeds `width`; -1 if the tip does, inf if none."""
    last = len(at) - 1
    if width < diameter[0]:
        return -1.0
    if width >= diameter[last]:
        return float(np.inf)
    k = last - 1
    while diameter[k] > width:
        k -= 1
    return float(at[k] + (at[k + 1] - at[k]) * (width - diameter[k]) / (diameter[k + 1] - diameter[k]))


@njit
def thickness(x: float, at: Array, diameter: Array) -> float:
    """Diameter at distance `x` >= 0 from the tip."""
    last = len(at) - 1
    if x >= at[last]:
        return float(diameter[last])
    k = 1
    while at[k] < x:
        k += 1
    return float(diameter[k - 1] + (diameter[k] - diameter[k - 1]) * (x - at[k - 1]) / (at[k] - at[k - 1]))


@njit
def seat_one(z: Array, width: Array, n: int, at: Array, diameter: Array, trim: float) -> tuple[float, int]:
    """z of the tip and index of the station that stops it; -inf and -1 where nothing does.

    Both outlines run straight between their points, so they first touch at a station of the lumen or at a corner of
    the instrument. A station asks that the tip be at least `z - room`; a corner, the tip's own rim among them, that it
    stay coronal to the place between two stations at which the lumen is as wide as the corner.
    """
    tip = thickness(trim, at, diameter)
    deepest, where = -np.inf, -1
    for i in range(n):
        room = room_for(width[i], at, diameter) - trim
        bound = z[i] - max(room, 0.0)
        if i + 1 < n and width[i + 1] > width[i]:
            slope = (z[i + 1] - z[i]) / (width[i + 1] - width[i])
            if width[i] < tip:
                bound = z[i] + min(slope * (tip - width[i]), z[i + 1] - z[i])
            for k in range(1, len(at)):
                if at[k] > trim and width[i] < diameter[k] <= width[i + 1]:
                    bound = max(bound, z[i] + slope * (diameter[k] - width[i]) - (at[k] - trim))
        if bound > deepest:
            deepest, where = bound, i
    return deepest, where


@njit
def seats(
    z: Array, width: Array, offset: Array, n: int, at: Array, diameter: Array, trim: Array, out: Array, station: Array
) -> None:
    """`seat_one` for each row of `width` (d, m); `offset`, `trim` (d,); writes `out`, `station` (d,)."""
    row = np.empty(n)
    for d in range(width.shape[0]):
        for i in range(n):
            row[i] = width[d, i] - offset[d]
        deepest, where = seat_one(z, row, n, at, diameter, trim[d])
        out[d] = deepest
        station[d] = z[where] if where >= 0 else deepest


@njit
def close_lengths(
    z: Array, width: Array, offset: Array, n: int, at: Array, diameter: Array, trim: Array, tip: Array, within: float,
    out: Array,
) -> None:  # fmt: skip
    """Length over which the gap is at most `within`, gaps running straight between stations; writes `out` (d,)."""
    for d in range(width.shape[0]):
        total = 0.0
        before, known = 0.0, False
        for i in range(n):
            x = z[i] - tip[d]
            if x < 0:
                continue
            gap = width[d, i] - offset[d] - thickness(x + trim[d], at, diameter)
            step = z[i] - z[i - 1] if i > 0 else 0.0
            if not known:
                step = min(x, step)
                if gap <= within:
                    total += step
            elif gap <= within and before <= within:
                total += step
            elif gap <= within or before <= within:
                low, high = min(gap, before), max(gap, before)
                total += step * (within - low) / (high - low)
            before, known = gap, True
        out[d] = total
