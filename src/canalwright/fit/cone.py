"""Seat of a cone: depth, tug-back, trim.

Equation: the tip stops at the least z for which cone(x + trim) + offset <= minor(z + x) at every
station, x counted from the tip. Source: geometry; a cone follows the centreline and does not shrink.
In an oval lumen a round cone is stopped by the minor width. Leaves out: bending stiffness, compression of the
cone, sealer film, roughness. In a cone and a lumen whose tapers differ by dt an error of diameter e moves the seat
by e / dt, and by any length where the tapers are the same: a distribution, not a number.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canalwright.instruments import Profile

Array = NDArray[np.float64]
BEYOND = -5.0
"""Least seat reported [mm]: a cone loose right through the terminus, or more than 5 mm beyond it."""
CLOSE = 0.03
"""Gap [mm] up to which a cone counts as gripped: a few hundredths (from memory of trial fits, no source)."""


@dataclass(frozen=True)
class Trim:
    """Length to cut off the tip so that the median seat lies at the target.

    `reached` is False when no trim within the limit does it: the untrimmed cone already stops short
    (then `length` is 0), or the longest trim still passes (then it is the limit).
    """

    length: float
    tip: float
    median: float
    reached: bool


@dataclass(frozen=True)
class TrimStep:
    """One row of the trim table: seats (d,) and tug-back (d,) after `trim` mm are cut; tip nominal."""

    trim: float
    tip: float
    seats: Array
    tug_back: Array
    chance: float


def seat(profile: Profile, z: Array, minor: Array, *, offset: ArrayLike = 0.0, trim: ArrayLike = 0.0) -> Array:
    """z of the seated tip for each draw, shape (d,).

    `z` (n,) stations to the orifice; `minor` (n,) or (d, n) mm; `offset`, error of the cone's diameter, and
    `trim`, length cut off, are numbers or (d,). Below 0 the tip is past the terminus; `BEYOND` says 5 mm or more,
    or loose right through. A cone too wide to enter has its tip at the orifice.
    """
    from canalwright.fit import _seat

    z, width, off, cut, at, diameter = _prepared(profile, z, minor, offset, trim)
    out, station = np.empty(len(width)), np.empty(len(width))
    _seat.seats(z, width, off, len(z), at, diameter, cut, out, station)
    return np.maximum(out, BEYOND)


def tug_back(
    profile: Profile, z: Array, minor: Array, tip: ArrayLike, *, offset: ArrayLike = 0.0, trim: ArrayLike = 0.0,
    within: float = CLOSE,
) -> Array:  # fmt: skip
    """Length [mm], shape (d,), over which the gap between cone and wall is at most `within` mm across the minor width.

    `tip` (d,) are the seats. 0 where the cone is loose right through.
    """
    from canalwright.fit import _seat

    z, width, off, cut, at, diameter = _prepared(profile, z, minor, offset, trim)
    out = np.empty(len(width))
    tips = np.broadcast_to(np.asarray(tip, dtype=float), len(width)).copy()
    _seat.close_lengths(z, width, off, len(z), at, diameter, cut, tips, within, out)
    return np.where(tips <= BEYOND, 0.0, out)


def gap(
    profile: Profile, z: Array, minor: Array, tip: ArrayLike, *, offset: ArrayLike = 0.0, trim: ArrayLike = 0.0
) -> Array:
    """Minor width less cone diameter by station, shape (d, n); NaN where there is no cone (below its tip)."""
    z, width, off, cut, _, _ = _prepared(profile, z, minor, offset, trim)
    x = z[None, :] - np.asarray(tip, dtype=float).reshape(-1, 1)
    return np.where(x >= 0, width - off[:, None] - profile(np.maximum(x, 0.0) + cut[:, None]), np.nan)


def chance(seats: Array, target: float, within: float = 0.5) -> float:
    """Share of the draws (the nominal row 0 left out when there are more) that seat within `within` mm of `target`."""
    drawn = seats[1:] if len(seats) > 1 else seats
    return float(np.mean(np.abs(drawn - target) <= within + 1e-9))


def trim_for(
    profile: Profile, z: Array, minor: Array, target: float, *, offset: ArrayLike = 0.0, most: float = 8.0
) -> Trim:
    """The shortest trim, up to `most` mm, that puts the median seat at z = `target`.

    The seat never gets deeper by trimming, and never rises by more than the trim, so bisection finds it.
    """

    def median(trim: float) -> float:
        return float(np.median(seat(profile, z, minor, offset=offset, trim=trim)))

    start, finish = median(0.0), median(most)
    if start >= target - 0.005:
        return Trim(0.0, float(profile(0.0)), start, start <= target + 0.05)
    if finish < target - 0.005:
        return Trim(most, float(profile(most)), finish, False)
    low, high = 0.0, most
    while high - low > 0.01:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if median(middle) < target - 0.005 else (low, middle)
    return Trim(high, float(profile(high)), median(high), True)


def trim_table(
    profile: Profile, z: Array, minor: Array, target: float, trims: ArrayLike, *, offset: ArrayLike = 0.0,
    within: float = 0.5,
) -> tuple[TrimStep, ...]:  # fmt: skip
    """Tip, seats, tug-back and the chance to seat within `within` mm of `target`, for each of the `trims` [mm]."""
    rows = []
    for trim in np.atleast_1d(np.asarray(trims, dtype=float)):
        seats = seat(profile, z, minor, offset=offset, trim=trim)
        grip = tug_back(profile, z, minor, seats, offset=offset, trim=trim)
        rows.append(TrimStep(float(trim), float(profile(trim)), seats, grip, chance(seats, target, within)))
    return tuple(rows)


@lru_cache(maxsize=256)
def rising(profile: Profile) -> tuple[Array, Array]:
    """Places and diameters of a profile whose waists are filled: what must have passed to get there."""
    at, diameter = np.array(profile.at), np.maximum.accumulate(profile.diameter)
    at.setflags(write=False)
    diameter.setflags(write=False)
    return at, diameter


def _prepared(
    profile: Profile, z: Array, minor: Array, offset: ArrayLike, trim: ArrayLike
) -> tuple[Array, Array, Array, Array, Array, Array]:
    z = np.array(z, dtype=float)
    offsets, trims = np.atleast_1d(np.asarray(offset, dtype=float)), np.atleast_1d(np.asarray(trim, dtype=float))
    width = np.atleast_2d(np.asarray(minor, dtype=float))
    if width.shape[1] != len(z):
        raise ValueError(f"{len(z)} stations but minor widths of shape {width.shape}: the last axis is the station")
    if (trims < 0).any():
        raise ValueError(f"trim must be 0 mm or more, not {float(trims.min())}")
    d = max(len(width), len(offsets), len(trims))
    try:
        width = np.broadcast_to(width, (d, len(z))).copy()
        offsets, trims = np.broadcast_to(offsets, d).copy(), np.broadcast_to(trims, d).copy()
    except ValueError:
        raise ValueError(
            f"draws differ: {len(width)} rows of widths, {len(offsets)} offsets, {len(trims)} trims"
        ) from None
    return z, width, offsets, trims, *rising(profile)
