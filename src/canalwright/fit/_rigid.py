"""Compiled: the deepest place of a straight stack of discs in a curved lumen. Imported on first use.

In the frame of a pose (its chord e, and u, v at right angles) the centreline is (p_i, s_i), the axis of the instrument
a + b s. Disc i clears the wall when p_i - a - b s_i lies in the ellipse in which its centre may lie; `_minimax` decides
whether some (a, b) does that everywhere. The chord is close to the axis wherever the wall binds, so discs count as
lying in planes across e; sections tilted against e are a little longer than counted, on the safe side.
"""

import numpy as np
from numpy.typing import NDArray

from canalwright.fit._minimax import MOST, fits
from canalwright.fit._seat import seat_one, thickness
from canalwright.kernels import compiler

njit = compiler("canalwright.fit")

Array = NDArray[np.float64]

SLACK = 1e-3
"""Numerical give of the fit, mm: a micrometre, so that a straight canal is passable up to contact."""
NEAR = 0.1
"""A curve that costs less depth than this [mm] is not what stops an instrument."""


@njit
def frame(
    tip: float, z: Array, c: Array, axis: Array, narrow: Array, wide: Array, fin: Array, n: int, worst: Array,
    at: Array, diameter: Array, extra: float, f: Array,
) -> int:  # fmt: skip
    """Fill `f` for a tip at z = `tip`; returns the number of stations, -1 where one is too narrow.

    `narrow`, `wide`, `fin` (n,) are full widths, `worst` (n,) the greatest diameter that a station can meet;
    `extra` is added to each diameter. An oval counts as such when the fin leaves the instrument at least half
    the play of the round part; else only the round part counts.
    """
    j = 0
    while j < n - 1 and z[j] <= tip + 1e-9:
        j += 1
    t = (tip - z[j - 1]) / (z[j] - z[j - 1]) if j > 0 else 0.0
    low = max(j - 1, 0)
    o = np.empty(3)
    e = np.empty(3)
    for i in range(3):
        o[i] = c[low, i] + t * (c[j, i] - c[low, i])
        e[i] = c[n - 1, i] - o[i]
    size = np.sqrt(e[0] ** 2 + e[1] ** 2 + e[2] ** 2)
    if size < 1e-6:
        return 0
    e /= size
    u = np.zeros(3)
    u[np.argmin(np.abs(e))] = 1.0
    u -= e * (u @ e)
    u /= np.sqrt(u @ u)
    v = np.array([e[1] * u[2] - e[2] * u[1], e[2] * u[0] - e[0] * u[2], e[0] * u[1] - e[1] * u[0]])
    k = 0
    for i in range(j - 1, n):
        if i < j:
            dx = dy = dz = 0.0
            share, first, nearest = t, low, (j if t > 0.5 else low)
        else:
            dx, dy, dz = c[i, 0] - o[0], c[i, 1] - o[1], c[i, 2] - o[2]
            share, first, nearest = 0.0, i, i
        along = dx * e[0] + dy * e[1] + dz * e[2]
        second = min(first + 1, n - 1)
        b = 0.5 * (narrow[first] + share * (narrow[second] - narrow[first]))
        a = 0.5 * (wide[first] + share * (wide[second] - wide[first]))
        h = 0.5 * (fin[first] + share * (fin[second] - fin[first]))
        r = 0.5 * (thickness(max(along, 0.0), at, diameter) + extra)
        if b - r < -SLACK:
            return -1
        if h < b - 1e-9:
            w = 0.5 * (worst[nearest] + extra)
            if h - w >= 0.5 * (b - w) and h - w > 0:
                b = h
            else:
                a = b
        play = max(b - r, 0.0) + SLACK
        f[0, k] = dx * u[0] + dy * u[1] + dz * u[2]
        f[1, k] = dx * v[0] + dy * v[1] + dz * v[2]
        f[2, k] = 2 * along / size - 1
        f[3, k], f[4, k], f[5, k] = 1 / play**2, 0.0, 1 / play**2
        if a > b + 1e-9:
            # Largest ellipse of semi-minor b - r whose every point keeps a disc of radius r inside the oval.
            long2 = play**2 + (a * a - b * b) * max(1 - r / b, 0.0)
            mx = axis[nearest, 0] * u[0] + axis[nearest, 1] * u[1] + axis[nearest, 2] * u[2]
            my = axis[nearest, 0] * v[0] + axis[nearest, 1] * v[1] + axis[nearest, 2] * v[2]
            norm = mx * mx + my * my
            if norm > 0.25:
                less = (1 / long2 - 1 / play**2) / norm
                f[3, k] += less * mx * mx
                f[4, k] += less * mx * my
                f[5, k] += less * my * my
        k += 1
    return k


@njit
def reaches(
    z: Array, line: Array, depart: Array, curve: Array, axis: Array, minor: Array, major: Array, fin: Array, n: int,
    at: Array, diameter: Array, extra: Array, floor: Array, ceiling: Array, within: float,
    out: Array, station: Array, code: NDArray[np.int64],
) -> None:  # fmt: skip
    """Deepest passable tip for each draw. Centreline of a draw: `line + curve * depart`, both (n, 3).

    Depths are searched by bisection: a pose that fits also fits when the instrument is drawn back along its own axis,
    since its diameters never fall towards the handle; so each depth that fits can be got to.
    Only tips at or below `ceiling` are asked for: one that does not get there is given the top. Writes `out`,
    `station` (z) and `code` (0 floor, 1 width, 2 curve) per draw.
    """
    f = np.empty((6, n + 1))
    work = np.empty(MOST, np.int64)
    lam, q, x, y = np.empty(MOST), np.empty(MOST), np.empty(5), np.empty(5)
    a = np.empty((5, 5))
    c = np.empty((n, 3))
    row, worst = np.empty(n), np.empty(n)
    top = z[n - 1]
    for d in range(minor.shape[0]):
        for i in range(n):
            row[i] = minor[d, i] - extra[d]
            for r in range(3):
                c[i, r] = line[i, r] + curve[d] * depart[i, r]
        low, where = seat_one(z, row, n, at, diameter, 0.0)
        code[d] = 1
        station[d] = z[max(where, 0)]
        if low <= floor[d]:
            low, code[d], station[d] = floor[d], 0, floor[d]
        start = low = min(low, top)
        for i in range(n):
            worst[i] = thickness(max(z[i] - low, 0.0), at, diameter)
        high, block = top, -1
        if low <= ceiling[d] < top:
            high = ceiling[d]
            k = frame(high, z, c, axis, minor[d], major[d], fin[d], n, worst, at, diameter, extra[d], f)
            if k < 0 or (k > 0 and not fits(f, k, work, lam, q, a, x, y)[0]):
                out[d], code[d], station[d] = top, 2, top
                continue
        tip = low
        while True:
            k = frame(tip, z, c, axis, minor[d], major[d], fin[d], n, worst, at, diameter, extra[d], f)
            good, seen = (True, 0) if k == 0 else (False, 0) if k < 0 else fits(f, k, work, lam, q, a, x, y)
            if good:
                high = tip
            else:
                low = tip
                block = n - k + seen if k > 0 else -1
            if high - low <= within:
                break
            tip = 0.5 * (low + high)
        out[d] = high
        if block >= 0 and high - start > NEAR:
            code[d] = 2
            station[d] = max(z[min(max(block, 0), n - 1)], high)
