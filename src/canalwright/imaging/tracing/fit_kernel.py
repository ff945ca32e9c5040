"""The normal equations of the tube's fit, in one pass over the voxels on all cores.

Every field is a cubic B-spline, so a voxel touches four coefficients of each and the two numbers that stand for all: a small
dense row. Voxels come ordered by station; as long as neighbours touch the same coefficients their products are added up in
one small matrix, which is then put in its place in the large one. The voxels are dealt out in a fixed number of parts, whose
sums are added in order: the result does not depend on the number of cores.
"""

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

Array = NDArray[np.float64]
PARTS = 16


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

    def values(self, x: Array) -> Array:
        """Every field at every voxel, shape (fields, n)."""
        return np.asarray(_values(self.first, self.weight, x))

    def normal(self, slopes: Array, numbers: Array, off: Array, weight: Array, size: int) -> tuple[Array, Array]:
        """Weighted normal matrix (size, size) and right side (size,).

        `slopes` (fields, n): derivatives to the fields; `numbers` (2, n): to the last two unknowns; `off`, `weight` (n,).
        """
        return _normal(self.first, self.weight, slopes, numbers, off, weight, size)  # type: ignore[no-any-return]


def solve(matrix: Array, right: Array) -> Array:
    """Solve a positive definite system (n, n) by Cholesky's way. Raises LinAlgError for another."""
    solved, good = _cholesky(matrix, right)
    if not good:
        raise np.linalg.LinAlgError("the normal matrix is not positive definite")
    return np.asarray(solved)


@numba.njit(cache=True, fastmath=True, parallel=True)
def _values(first, weight, x):  # type: ignore[no-untyped-def]
    n, fields = first.shape
    out = np.empty((fields, n))
    for m in numba.prange(n):
        for f in range(fields):
            a = first[m, f]
            out[f, m] = (
                weight[m, f, 0] * x[a] + weight[m, f, 1] * x[a + 1] + weight[m, f, 2] * x[a + 2]
                + weight[m, f, 3] * x[a + 3]
            )  # fmt: skip
    return out


@numba.njit(cache=True, fastmath=True, parallel=True)
def _normal(first, weight, slopes, numbers, off, weights, size):  # type: ignore[no-untyped-def]
    n, fields = first.shape
    wide = 4 * fields + 2
    sums = np.zeros((PARTS, size, size))
    rights = np.zeros((PARTS, size))
    for part in numba.prange(PARTS):
        low, high = part * n // PARTS, (part + 1) * n // PARTS
        row = np.zeros(wide)
        block = np.zeros((wide, wide))
        for m in range(low, high):
            for f in range(fields):
                for k in range(4):
                    row[4 * f + k] = weight[m, f, k] * slopes[f, m]
            row[wide - 2] = numbers[0, m]
            row[wide - 1] = numbers[1, m]
            w = weights[m]
            for a in range(wide):
                scaled = w * row[a]
                for b in range(wide):
                    block[a, b] += scaled * row[b]
            pull = w * off[m]
            for f in range(fields):
                for k in range(4):
                    rights[part, first[m, f] + k] += pull * row[4 * f + k]
            rights[part, size - 2] += pull * row[wide - 2]
            rights[part, size - 1] += pull * row[wide - 1]
            last = m + 1 == high
            if not last:
                for f in range(fields):
                    if first[m + 1, f] != first[m, f]:
                        last = True
            if last:
                for a in range(wide):
                    p = first[m, a // 4] + a % 4 if a < wide - 2 else size - wide + a
                    for b in range(wide):
                        q = first[m, b // 4] + b % 4 if b < wide - 2 else size - wide + b
                        sums[part, p, q] += block[a, b]
                        block[a, b] = 0.0
    total = np.zeros((size, size))
    right = np.zeros(size)
    for part in range(PARTS):
        total += sums[part]
        right += rights[part]
    return total, right


@numba.njit(cache=True)
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
