"""Compiled: does a straight line pass through a row of ellipses? Imported on first use.

The line is a + b s, the ellipse of station i is (p_i - y)' Q_i (p_i - y) <= 1 in the plane s = s_i. Whether some (a, b)
does all of that is the minimax of convex quadratics in four unknowns. It is solved by a primal-dual
interior-point method (Boyd & Vandenberghe 2004, Convex Optimization, ch. 11.7) on a small working set that grows by
the station most in the way. Both answers carry their proof: "fits" a line that clears every station, "does not fit"
weights whose weighted least squares exceed 1 (the dual bound). Undecided counts as "does not fit".
"""

import numpy as np
from numpy.typing import NDArray

from canalwright.kernels import compiler

njit = compiler("canalwright.fit")

Array = NDArray[np.float64]

FIRST, MOST = 8, 24


@njit
def solve_spd(a: Array, b: Array, n: int) -> None:
    """Solve a x = b in place (x in `b`) by Cholesky; `a` is (>=n, >=n), overwritten."""
    for j in range(n):
        for k in range(j):
            a[j, j] -= a[j, k] * a[j, k]
        a[j, j] = np.sqrt(max(a[j, j], 1e-300))
        for i in range(j + 1, n):
            for k in range(j):
                a[i, j] -= a[i, k] * a[j, k]
            a[i, j] /= a[j, j]
    for i in range(n):
        for k in range(i):
            b[i] -= a[i, k] * b[k]
        b[i] /= a[i, i]
    for i in range(n - 1, -1, -1):
        for k in range(i + 1, n):
            b[i] -= a[k, i] * b[k]
        b[i] /= a[i, i]


@njit
def least_squares(lam: Array, work: NDArray[np.int64], m: int, f: Array, a: Array, x: Array) -> float:
    """argmin and min over x of sum lam_i q_i(x) / sum lam_i on the working set."""
    for i in range(4):
        x[i] = 0.0
        for j in range(4):
            a[i, j] = 0.0
    constant = weight = 0.0
    for w in range(m):
        i = work[w]
        px, py, s = f[0, i], f[1, i], f[2, i]
        h11, h12, h22 = lam[w] * f[3, i], lam[w] * f[4, i], lam[w] * f[5, i]
        gx, gy = h11 * px + h12 * py, h12 * px + h22 * py
        constant += px * gx + py * gy
        weight += lam[w]
        x[0] += gx
        x[1] += gy
        x[2] += s * gx
        x[3] += s * gy
        a[0, 0] += h11
        a[1, 0] += h12
        a[1, 1] += h22
        a[2, 0] += s * h11
        a[2, 1] += s * h12
        a[3, 1] += s * h22
        a[2, 2] += s * s * h11
        a[3, 2] += s * s * h12
        a[3, 3] += s * s * h22
    a[3, 0] = a[2, 1]
    ridge = 1e-13 * (a[0, 0] + a[1, 1] + a[2, 2] + a[3, 3])
    r0, r1, r2, r3 = x[0], x[1], x[2], x[3]
    for i in range(4):
        a[i, i] += ridge
    solve_spd(a, x, 4)
    return float((constant - r0 * x[0] - r1 * x[1] - r2 * x[2] - r3 * x[3]) / weight)


@njit
def quad(f: Array, i: int, x: Array) -> float:
    """q_i at the pose `x`."""
    rx = f[0, i] - x[0] - x[2] * f[2, i]
    ry = f[1, i] - x[1] - x[3] * f[2, i]
    return float(f[3, i] * rx * rx + 2 * f[4, i] * rx * ry + f[5, i] * ry * ry)


@njit
def worst_of(f: Array, k: int, x: Array) -> tuple[float, int]:
    """Greatest q_i over all stations, and where."""
    worst, where = -1.0, 0
    for i in range(k):
        q = quad(f, i, x)
        if q > worst:
            worst, where = q, i
    return worst, where


@njit
def newton(
    f: Array, work: NDArray[np.int64], m: int, lam: Array, q: Array, x: Array, tau: float, a: Array, g: Array
) -> float:
    """One primal-dual step for min tau, q_i(x) <= tau on the working set; moves `x`, `lam`, `q`; returns tau."""
    mu = 0.0
    for w in range(m):
        mu += lam[w] * (tau - q[w])
    mu *= 0.1 / m
    for i in range(5):
        g[i] = 0.0
        for j in range(5):
            a[i, j] = 0.0
    for w in range(m):
        i = work[w]
        s = f[2, i]
        rx = f[0, i] - x[0] - x[2] * s
        ry = f[1, i] - x[1] - x[3] * s
        vx = -2 * (f[3, i] * rx + f[4, i] * ry)
        vy = -2 * (f[4, i] * rx + f[5, i] * ry)
        slack = tau - q[w]
        t = lam[w] / slack
        h11 = 2 * lam[w] * f[3, i] + t * vx * vx
        h12 = 2 * lam[w] * f[4, i] + t * vx * vy
        h22 = 2 * lam[w] * f[5, i] + t * vy * vy
        a[0, 0] += h11
        a[1, 0] += h12
        a[1, 1] += h22
        a[2, 0] += s * h11
        a[2, 1] += s * h12
        a[3, 1] += s * h22
        a[2, 2] += s * s * h11
        a[3, 2] += s * s * h12
        a[3, 3] += s * s * h22
        a[4, 0] -= t * vx
        a[4, 1] -= t * vy
        a[4, 2] -= t * s * vx
        a[4, 3] -= t * s * vy
        a[4, 4] += t
        c = mu / slack
        g[0] -= c * vx
        g[1] -= c * vy
        g[2] -= c * s * vx
        g[3] -= c * s * vy
        g[4] += c
    g[4] -= 1.0
    a[3, 0] = a[2, 1]
    for i in range(5):
        a[i, i] += 1e-13 * a[i, i] + 1e-300
    solve_spd(a, g, 5)
    step = 1.0
    for w in range(m):
        i = work[w]
        s = f[2, i]
        vx = -2 * (f[3, i] * (f[0, i] - x[0] - x[2] * s) + f[4, i] * (f[1, i] - x[1] - x[3] * s))
        vy = -2 * (f[4, i] * (f[0, i] - x[0] - x[2] * s) + f[5, i] * (f[1, i] - x[1] - x[3] * s))
        slack = tau - q[w]
        along = vx * (g[0] + s * g[2]) + vy * (g[1] + s * g[3])
        # Kept for after the step length is known: q is no longer needed until then.
        q[w] = mu / slack - lam[w] - lam[w] / slack * (g[4] - along)
        if q[w] < 0:
            step = min(step, -0.98 * lam[w] / q[w])
    for w in range(m):
        lam[w] += step * q[w]
    step = 1.0
    for _ in range(40):
        good = True
        for i in range(4):
            a[4, i] = x[i] + step * g[i]
        for w in range(m):
            q[w] = quad(f, work[w], a[4])
            if q[w] >= tau + step * g[4]:
                good = False
                break
        if good:
            break
        step *= 0.6
    if not good:
        for w in range(m):
            q[w] = quad(f, work[w], x)
        return tau
    for i in range(4):
        x[i] += step * g[i]
    return float(tau + step * g[4])


@njit
def fits(
    f: Array, k: int, work: NDArray[np.int64], lam: Array, q: Array, a: Array, x: Array, y: Array
) -> tuple[bool, int]:
    """Whether a straight pose clears all `k` stations of `f` (rows px, py, s, Q11, Q12, Q22); the one in the way."""
    m = min(k, FIRST)
    for w in range(m):
        work[w] = (w * (k - 1)) // max(m - 1, 1)
        lam[w] = 1.0 / m
    least_squares(lam, work, m, f, a, x)
    for _ in range(60):
        worst, where = worst_of(f, k, x)
        if worst <= 1.0:
            return True, where
        place = -1
        for w in range(m):
            if work[w] == where:
                place = w
        if place < 0:
            if m == MOST:
                place = 0
                for w in range(m):
                    if lam[w] < lam[place]:
                        place = w
            else:
                place = m
                m += 1
            work[place] = where
            lam[place] = 0.0
        top = 0.0
        for w in range(m):
            q[w] = quad(f, work[w], x)
            top = max(top, q[w])
            lam[w] = max(lam[w], 0.1 / m)
        tau = 1.2 * top + 0.01
        for _ in range(60):
            tau = newton(f, work, m, lam, q, x, tau, a, y)
            bound = least_squares(lam, work, m, f, a, y)
            if bound > 1.0:
                place = 0
                for w in range(m):
                    if lam[w] > lam[place]:
                        place = w
                return False, work[place]
            top = 0.0
            for w in range(m):
                top = max(top, q[w])
            if top < 0.98 or tau - bound < 1e-6:
                break
        if top > 1.0:
            return False, work[0]
    return False, 0
