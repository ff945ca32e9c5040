"""The loops of `wall` over rays: where dentine first ends, and the edge model fitted to each ray, compiled."""

import math

import numba
import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.tracing.cores import each

Array = NDArray[np.float64]
ROUNDS = 12


def first_edges(
    grey: Array, r: Array, clear: Array, level: float, full: float, behind: int, window: int
) -> tuple[Array, Array]:
    """Distance (S, K) of the first lasting fall below `level` past `clear` (NaN: none), and of the first fall of all.

    `grey` (S, K, samples at `r`). A gap with `behind` samples of `full` dentine in the next `window` samples is passed over.
    """
    rows = grey.reshape(-1, len(r))
    out, first_end = np.full(len(rows), np.nan), np.full(len(rows), r[-1])
    _first_edges(
        out, first_end, np.ascontiguousarray(rows), r, np.ascontiguousarray(clear).ravel(), level, full, behind, window
    )
    return out.reshape(clear.shape), first_end.reshape(clear.shape)


def edges(
    x: Array,
    tight: Array,
    low: Array,
    high: Array,
    clear: Array,
    grey: Array,
    r: Array,
    floor: float,
    spread: Array,
    noise: float,
) -> tuple[Array, Array, Array]:
    """Damped Gauss-Newton on (r0, log w, D, B) of each ray, from its prior means `x` (m, 4) of weights `tight` (4,).

    Samples between `low` and `high` and past `clear` (m,) count; `spread` (m,) along the ray. Solutions (m, 4), errors (m, 2)
    of r0 and log w, and by how much each of the two moves (m, 2, 3) with the soft tissue's grey, the logarithm of the spread
    and log w's prior mean.
    """
    best, error, shift = np.empty_like(x), np.empty((len(x), 2)), np.empty((len(x), 2, 3))
    greys = np.ascontiguousarray(grey)
    each(
        lambda a, b: _edges(
            best, error, shift, x, tight, low, high, clear, greys, r, floor, spread, float(noise), a, b
        ),
        len(x),
        few=256,
    )
    return best, error, shift


@numba.njit(cache=True, nogil=True)
def _first_edges(out, first_end, rows, r, clear, level, full, behind, window):  # type: ignore[no-untyped-def]
    count = len(r)
    step = r[1] - r[0]
    for m in range(len(rows)):
        g = rows[m]
        at = np.searchsorted(r, clear[m])
        while at < count and not g[at] > level:
            at += 1
        if at >= count:
            first_end[m] = clear[m]
            continue
        while at < count:
            edge = at
            while edge < count and not g[edge] < level:
                edge += 1
            if edge >= count:
                break
            first_end[m] = min(first_end[m], r[edge])
            run, again = 0, -1
            for k in range(edge, min(edge + window, count)):
                run = run + 1 if g[k] > full else 0
                if run == behind:
                    again = k - behind + 1
                    break
            if again < 0:
                out[m] = r[edge - 1] + step * (g[edge - 1] - level) / (g[edge - 1] - g[edge])
                break
            at = again


@numba.njit(cache=True, nogil=True)
def _edges(best, error, shift, start, tight, low, high, clear, grey, r, floor, spread, noise, first, last):  # type: ignore[no-untyped-def]
    for m in range(first, last):
        blur = spread[m]
        root, peak = 1 / (blur * math.sqrt(2.0)), 1 / (math.sqrt(2 * math.pi) * blur)
        x, base = start[m].copy(), start[m].copy()
        damping, cost = 1e-2, np.inf
        normal, slope, drag = np.eye(4), np.zeros(4), np.zeros((4, 2))
        jac, fixed = np.zeros(4), np.zeros(2)
        for _ in range(ROUNDS):
            w, d, b = math.exp(x[1]), x[2], x[3]
            now = 0.0
            fresh, pull, pulled = np.zeros((4, 4)), np.zeros(4), np.zeros((4, 2))
            for k in range(len(r)):
                if not (r[k] > low[m] and r[k] < high[m] and r[k] > clear[m]):
                    continue
                z1 = (r[k] - x[0]) / blur
                z2 = z1 - w / blur
                n1 = 0.5 * math.erfc(-(r[k] - x[0]) * root)
                n2 = 0.5 * math.erfc(-(r[k] - x[0] - w) * root)
                p1, p2 = peak * math.exp(-0.5 * z1 * z1), peak * math.exp(-0.5 * z2 * z2)
                off = (grey[m, k] - (d + (floor - d) * n1 + (b - floor) * n2)) / noise
                weight = 3 / abs(off) if abs(off) > 3 else 1.0
                now += weight * off * off
                jac[0] = (-(floor - d) * p1 - (b - floor) * p2) / noise
                jac[1] = -(b - floor) * p2 * w / noise
                jac[2], jac[3] = (1 - n1) / noise, n2 / noise
                fixed[0] = (n1 - n2) / noise
                fixed[1] = -((floor - d) * z1 * p1 + (b - floor) * z2 * p2) * blur / noise
                for i in range(4):
                    for j in range(4):
                        fresh[i, j] += weight * jac[i] * jac[j]
                    pull[i] += weight * off * jac[i]
                    pulled[i, 0] += weight * jac[i] * fixed[0]
                    pulled[i, 1] += weight * jac[i] * fixed[1]
            for i in range(4):
                now += tight[i] * (x[i] - start[m, i]) ** 2
                fresh[i, i] += tight[i]
                pull[i] -= tight[i] * (x[i] - start[m, i])
            if now < cost:
                base[:] = x
                normal[:], slope[:], drag[:] = fresh, pull, pulled
                cost, damping = now, damping / 4
            else:
                damping *= 8
            damped = normal.copy()
            for i in range(4):
                damped[i, i] += damping * normal[i, i]
            move = np.linalg.solve(damped, slope)
            x[:] = base + move
            x[0] = base[0] + min(max(move[0], -0.1), 0.1)
            x[1] = min(max(x[1], math.log(0.05)), math.log(0.8))
        inverse = np.linalg.inv(normal)
        best[m] = base
        for n in range(2):
            error[m, n] = math.sqrt(inverse[n, n])
            for j in range(2):
                total = 0.0
                for i in range(4):
                    total += inverse[n, i] * drag[i, j]
                shift[m, n, j] = -total
            shift[m, n, 2] = inverse[n, 1] * tight[1]
