# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""Kernels: one stage over all cells, layer by layer on all cores, and the rate at the end of a step with its error.

A stage forms y_j = y0 + mu (y_{j-1} - y0) + nu (y_{j-2} - y0) + mt f(y_{j-1}) + gt f0 in one pass, in the memory of y_{j-2}.
Differences from y0 keep single precision exact where nothing changes: cells that are held stay as they are to the last bit.
The fields hold temperatures. Enthalpy differs from temperature in the canal only: there the excess e = u - T goes
through the same recurrence in short lists.
"""

import numba
import numpy as np

from canalwright.heat.kernel_phase import temperature
from canalwright.heat.solid.kernel_base import F0, F1, GX, GY, GZ, INVERSE, LOSS, Y0, both, njit, njit_sum


@njit
def flow(nx, plane, low, high, g, t, f):
    """Rate of the cells low..high - 1 into f (high - low). Slices of equal length, so that the loop becomes vector instructions."""
    m = high - low
    here, right, left = t[low:high], t[low + 1 : high + 1], t[low - 1 : high - 1]
    back, front = t[low + nx : high + nx], t[low - nx : high - nx]
    up, down = t[low + plane : high + plane], t[low - plane : high - plane]
    xr, xl = g[GX, low:high], g[GX, low - 1 : high - 1]
    yr, yl = g[GY, low:high], g[GY, low - nx : high - nx]
    zr, zl = g[GZ, low:high], g[GZ, low - plane : high - plane]
    inv, loss = g[INVERSE, low:high], g[LOSS, low:high]
    for k in range(m):
        x = here[k]
        f[k] = (
            xr[k] * (right[k] - x)
            + xl[k] * (left[k] - x)
            + yr[k] * (back[k] - x)
            + yl[k] * (front[k] - x)
            + zr[k] * (up[k] - x)
            + zl[k] * (down[k] - x)
            - loss[k] * x
        ) * inv[k]


@njit
def blend(mu, nu, mt, gt, t, y0, f, f0, out):
    """One stage of the recurrence into `out`, which holds the stage before the last."""
    for k in range(len(out)):
        z = y0[k]
        out[k] = z + mu * (t[k] - z) + nu * (out[k] - z) + mt * f[k] + gt * f0[k]


@njit
def layer(z, b, m, r, s, new, old, mu, nu, mt, gt, e1, e2):
    """Stage j of one layer from row `new` (j - 1) into row `old` (j - 2); the excess from row e1 into e2; covered cells from r.t[5]."""
    plane = b.plane
    y0, f0, t, out = b.y[Y0], b.y[F0], b.y[new], b.y[old]
    low, high = z * plane + b.span[z, 0], z * plane + b.span[z, 1]
    if high > low:
        f = np.zeros(high - low, np.float32)
        if mt > 0.0:
            flow(b.nx, plane, low, high, b.g, t, f)
        cmu, cnu, cmt, cgt = np.float32(mu), np.float32(nu), np.float32(mt), np.float32(gt)
        blend(cmu, cnu, cmt, cgt, t[low:high], y0[low:high], f, f0[low:high], out[low:high])
    if m.warm[z]:
        for k in range(m.start[z], m.start[z + 1]):
            latent = m.latent[k]
            if latent > 0.0:
                e0 = m.e[0, k]
                u = out[m.cell[k]] + e0 + mu * (m.e[e1, k] - e0) + nu * (m.e[e2, k] - e0)
                x = np.float32(temperature(s, u, latent, m.molten[k]))
                out[m.cell[k]] = x
                m.e[e2, k] = u - x
    for k in range(r.start[z], r.start[z + 1]):
        out[r.cover[k]] = np.float32(r.t[5, r.cover_node[k]])


@njit
def stage(b, m, r, stuff, new, old, mu, nu, mt, gt, e1, e2):
    """One stage on one core."""
    for z in range(1, b.nz - 1):
        layer(z, b, m, r, stuff[0], new, old, mu, nu, mt, gt, e1, e2)


@both
def stage_wide(b, m, r, stuff, new, old, mu, nu, mt, gt, e1, e2):
    """One stage on all cores."""
    for z in numba.prange(1, b.nz - 1):
        layer(z, b, m, r, stuff[0], new, old, mu, nu, mt, gt, e1, e2)


@njit_sum
def misfit(inverse, y0, y1, f0, f1, half):
    """Sum of squares of 0.8 (y0 - y1) + half (f0 + f1) over the cells that are not held."""
    total, share, none = np.float32(0.0), np.float32(0.8), np.float32(0.0)
    for k in range(len(y0)):
        x = share * (y0[k] - y1[k]) + half * (f0[k] + f1[k])
        total += x * x if inverse[k] > none else none
    return total


@njit
def finish(b, m, new, e1, dt, error):
    """Rates of row `new` into row F1, and the sum of squares of the estimated error of the step by layer."""
    nx, plane, g = b.nx, b.plane, b.g
    y0, f0, t, f1 = b.y[Y0], b.y[F0], b.y[new], b.y[F1]
    for z in range(1, b.nz - 1):
        low, high = z * plane + b.span[z, 0], z * plane + b.span[z, 1]
        if high <= low:
            continue
        flow(nx, plane, low, high, g, t, f1[low:high])
        total = misfit(
            g[INVERSE, low:high], y0[low:high], t[low:high], f0[low:high], f1[low:high], np.float32(0.4 * dt)
        )
        if m.warm[z]:
            for k in range(m.start[z], m.start[z + 1]):
                if m.latent[k] > 0.0:
                    i = m.cell[k]
                    x = 0.8 * (y0[i] - t[i]) + 0.4 * dt * (f0[i] + f1[i])
                    total += np.float32((x + 0.8 * (m.e[0, k] - m.e[e1, k])) ** 2 - x * x)
        error[z] = total


@njit
def bound(b, low, high):
    """Gershgorin bound of the fastest rate in layers low..high - 1."""
    nx, plane, g = b.nx, b.plane, b.g
    for z in range(max(low, 1), min(high, b.nz - 1)):
        worst = np.float32(0.0)
        for k in range(z * plane + b.span[z, 0], z * plane + b.span[z, 1]):
            total = g[GX, k] + g[GX, k - 1] + g[GY, k] + g[GY, k - nx] + g[GZ, k] + g[GZ, k - plane]
            worst = max(worst, (np.float32(2.0) * total + g[LOSS, k]) * g[INVERSE, k])
        b.rate[z] = worst
