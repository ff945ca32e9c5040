"""Model and normal equations of the tube's fit, in one pass over the voxels on all cores.

Every field is a cubic B-spline, so a voxel touches four coefficients of each and the two numbers that stand for all: a small
dense row. Voxels come ordered by station; as long as neighbours touch the same coefficients their products are added up in
one small matrix, which is then put in its place in the large one. The voxels are dealt out in a fixed number of parts, whose
sums are added in order: the result does not depend on the number of cores.
"""

import math
from concurrent.futures import Executor
from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from canalwright.imaging.tracing.blurred_ellipse import hole
from canalwright.imaging.tracing.cores import each

Array = NDArray[np.float64]
LEAST, MOST = 0.01, 3.0
"""Bounds of a half width, mm."""


@dataclass(frozen=True)
class Bases:
    """B-splines at the voxels: `first` (n, fields) index of the first of four coefficients, `weight` (n, fields, 4)."""

    first: NDArray[np.int64]
    weight: Array

    @classmethod
    def at(cls, s: Array, knots: dict[str, Array], place: dict[str, slice]) -> "Bases":
        """Bases of every field in the order of `knots` at stations `s` (n,), held at the ends of the knots."""
        first = np.empty((len(s), len(knots)), np.int64)
        weight = np.empty((len(s), len(knots), 4))
        for f, (name, k) in enumerate(knots.items()):
            matrix = BSpline.design_matrix(np.clip(s, k[3], k[-4]), k, 3)
            first[:, f] = place[name].start + matrix.indices.reshape(-1, 4)[:, 0]
            weight[:, f] = matrix.data.reshape(-1, 4)
        return cls(first, weight)


@dataclass(frozen=True)
class Equations:
    """What one pass gives: weighted squares of the misfit `cost`, the residuals `off` (n,), normal matrix and right side."""

    cost: float
    off: Array
    normal: Array
    right: Array


def equations(
    x: Array, bases: Bases, u: Array, v: Array, grey: Array, noise: float, shared: float, huber: float, pool: Executor
) -> Equations:
    """The tube with unknowns `x` beside the voxels at (u, v) of `grey` (n,), in units of the contrast.

    `noise`: of a voxel; `shared`: what its neighbours' share in it widens it by; `huber`: where weights begin to fall.
    """
    off = np.empty(len(grey))
    sums = each(
        lambda low, high: _equations(bases.first, bases.weight, u, v, grey, x, noise, shared, huber, off, low, high),
        len(grey),
        pool,
    )
    lower = sum(s[0] for s in sums)
    normal = np.tril(lower) + np.tril(lower, -1).T
    return Equations(float(sum(s[2] for s in sums)), off, normal, np.asarray(sum(s[1] for s in sums)))


def solve(matrix: Array, right: Array) -> Array:
    """Solve a positive definite system (n, n) by Cholesky's way. Raises LinAlgError for another."""
    solved, good = _cholesky(matrix, right)
    if not good:
        raise np.linalg.LinAlgError("the normal matrix is not positive definite")
    return np.asarray(solved)


@numba.njit(cache=True, fastmath=True, nogil=True)
def _width(log):  # type: ignore[no-untyped-def]
    return math.exp(min(max(log, math.log(LEAST)), math.log(MOST)))


@numba.njit(cache=True, fastmath=True, nogil=True)
def _equations(first, weight, u, v, grey, x, noise, shared, huber, off, low, high):  # type: ignore[no-untyped-def]
    fields = first.shape[1]
    size, wide = len(x), 4 * fields + 2
    total, right = np.zeros((size, size)), np.zeros(size)
    cost = 0.0
    value, slope, row = np.zeros(fields), np.zeros(fields), np.zeros(wide)
    block = np.zeros((wide, wide))
    place = np.zeros(wide, np.int64)
    spread = math.exp(x[size - 1])
    for m in range(low, high):
        for f in range(fields):
            a = first[m, f]
            value[f] = (
                weight[m, f, 0] * x[a] + weight[m, f, 1] * x[a + 1] + weight[m, f, 2] * x[a + 2]
                + weight[m, f, 3] * x[a + 3]
            )  # fmt: skip
        e1, e2 = value[3], value[4]
        e = max(math.sqrt(e1 * e1 + e2 * e2), 1e-5)
        cos, sin = (e1 / e, e2 / e) if e > 1e-5 else (1.0, 0.0)
        long, short = _width(value[2] + e), _width(value[2] - e)
        f0, fx, fy, fa, fb, turned, wider = hole(
            u[m] - value[0], v[m] - value[1], long, short, math.atan2(sin, cos) / 2, spread
        )
        drop = value[5] - x[size - 2]
        by_a, by_b = fa * long, fb * short
        stretch, twist = by_a - by_b, turned / (2 * e)
        slope[0], slope[1], slope[2] = drop * fx, drop * fy, -drop * (by_a + by_b)
        slope[3], slope[4] = -drop * (stretch * cos - twist * sin), -drop * (stretch * sin + twist * cos)
        slope[5], slope[6], slope[7] = 1 - f0, u[m], v[m]
        o = (grey[m] - (value[5] + value[6] * u[m] + value[7] * v[m] - drop * f0)) / noise
        w = min(1.0, huber / max(abs(o) * shared, 1e-9))
        off[m] = o
        cost += w * o * o
        for f in range(fields):
            for k in range(4):
                row[4 * f + k] = weight[m, f, k] * slope[f] / noise
        row[wide - 2], row[wide - 1] = f0 / noise, -drop * wider / noise
        for a in range(wide):
            scaled = w * row[a]
            for b in range(a + 1):
                block[a, b] += scaled * row[b]
        for f in range(fields):
            for k in range(4):
                right[first[m, f] + k] += w * o * row[4 * f + k]
        right[size - 2] += w * o * row[wide - 2]
        right[size - 1] += w * o * row[wide - 1]
        last = m + 1 == high
        if not last:
            for f in range(fields):
                if first[m + 1, f] != first[m, f]:
                    last = True
        if last:
            for a in range(wide):
                place[a] = first[m, a // 4] + a % 4 if a < wide - 2 else size - wide + a
            for a in range(wide):
                for b in range(a + 1):
                    total[place[a], place[b]] += block[a, b]
                    block[a, b] = 0.0
    return total, right, cost


@numba.njit(cache=True, nogil=True)
def _cholesky(matrix, right):  # type: ignore[no-untyped-def]
    n = len(right)
    low = np.zeros((n, n))
    x = right.copy()
    for i in range(n):
        for j in range(i + 1):
            rest = matrix[i, j]
            for k in range(j):
                rest -= low[i, k] * low[j, k]
            if i == j:
                if not rest > 0.0:
                    return x, False
                low[i, i] = np.sqrt(rest)
            else:
                low[i, j] = rest / low[j, j]
        for k in range(i):
            x[i] -= low[i, k] * x[k]
        x[i] /= low[i, i]
    for i in range(n - 1, -1, -1):
        x[i] /= low[i, i]
        for k in range(i):
            x[k] -= low[i, k] * x[i]
    return x, True
