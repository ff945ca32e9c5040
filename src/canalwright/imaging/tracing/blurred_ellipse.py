"""An elliptical hole seen through a Gaussian point spread, with its derivatives.

For half widths A (along x) and B (along y) and spread s, with x_j = A sin(psi_j), h_j = B cos(psi_j):

    F(x, y) = sum_j w A cos(psi_j) g(x - x_j) [ N((y + h_j)/s) - N((y - h_j)/s) ]

g the Gaussian density of spread s, N the normal distribution function, psi_j midpoints of (-pi/2, pi/2): the
convolution of the ellipse's indicator with the Gaussian, exact along y, by the midpoint rule along x. The integrand is
a smooth periodic function of psi, so the rule converges faster than any power (Trefethen & Weideman 2014, SIAM Rev
56:385); checked against 2-D quadrature to 1e-5. F obeys the heat equation, so dF/ds = s (F_xx + F_yy).
"""

import math

import numba
import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.tracing.cores import each

Array = NDArray[np.float64]
COLUMNS = 7
"""Columns of `blurred`: F, dF/dx, dF/dy, dF/dA, dF/dB, dF/dtheta, dF/d(log s)."""


def blurred(x: Array, y: Array, long: Array, short: Array, angle: Array, spread: float) -> Array:
    """F and its derivatives, shape (n, 7), at `x`, `y` (n,) from the centre of an ellipse turned by `angle`.

    `long`, `short`: half widths A, B (n,). Derivatives to x and y are in the unturned frame; moving the
    centre by (dx, dy) changes F by minus them.
    """
    x, y, long, short, angle = _flat(x, y, long, short, angle)
    out = np.empty((x.size, COLUMNS))
    each(lambda low, high: _blurred(out, x, y, long, short, angle, float(spread), low, high), len(out))
    return out


def share(x: Array, y: Array, long: Array, short: Array, angle: Array, spread: float) -> Array:
    """F alone, shape (n,), at a third of the work; arguments as those of `blurred`."""
    x, y, long, short, angle = _flat(x, y, long, short, angle)
    out = np.empty(x.size)
    each(lambda low, high: _share(out, x, y, long, short, angle, float(spread), low, high), len(out))
    return out


def _flat(*arrays: Array) -> list[Array]:
    return [np.ascontiguousarray(a, dtype=float).ravel() for a in np.broadcast_arrays(*arrays)]


@numba.njit(cache=True, nogil=True)
def nodes(a, spread):  # type: ignore[no-untyped-def]
    """Terms of the sum over an ellipse of half width `a`; rounding decides nothing where the quotient is a whole number."""
    return int(4.0 * a / spread + 1e-6) + 8


@numba.njit(cache=True, fastmath=True, nogil=True)
def _blurred(out, x, y, long, short, angle, spread, low, high):  # type: ignore[no-untyped-def]
    for m in range(low, high):
        f, fx, fy, fa, fb, turned, wider = hole(x[m], y[m], long[m], short[m], angle[m], spread)
        out[m, 0], out[m, 1], out[m, 2], out[m, 3] = f, fx, fy, fa
        out[m, 4], out[m, 5], out[m, 6] = fb, turned, wider


@numba.njit(cache=True, fastmath=True, nogil=True)
def _share(out, x, y, long, short, angle, spread, low, high):  # type: ignore[no-untyped-def]
    root = 1 / (spread * math.sqrt(2.0))
    peak = 1 / (spread * math.sqrt(2 * math.pi))
    for m in range(low, high):
        c, s = math.cos(angle[m]), math.sin(angle[m])
        p, q = c * x[m] + s * y[m], -s * x[m] + c * y[m]
        a, b = long[m], short[m]
        f = 0.0
        if abs(p) < a + 6 * spread and abs(q) < b + 6 * spread:
            count = nodes(a, spread)
            step = math.pi / count
            turn_c, turn_s = math.cos(step), math.sin(step)
            cosine, sine = math.cos(0.5 * step - math.pi / 2), math.sin(0.5 * step - math.pi / 2)
            for _ in range(count):
                d = p - a * sine
                if abs(d) < 6 * spread:
                    h = b * cosine
                    n = 0.5 * (math.erf((q + h) * root) - math.erf((q - h) * root))
                    f += a * peak * math.exp(-0.5 * d * d / (spread * spread)) * step * cosine * n
                cosine, sine = cosine * turn_c - sine * turn_s, sine * turn_c + cosine * turn_s
        out[m] = f


@numba.njit(cache=True, fastmath=True, nogil=True)
def hole(x, y, a, b, angle, spread):  # type: ignore[no-untyped-def]
    """The seven numbers of `blurred` at one place, for kernels."""
    root = 1 / (spread * math.sqrt(2.0))
    peak = 1 / (spread * math.sqrt(2 * math.pi))
    inverse = 1 / (spread * spread)
    c, s = math.cos(angle), math.sin(angle)
    p = c * x + s * y
    q = -s * x + c * y
    f = fx = fy = fa = fb = fxx = fyy = 0.0
    if abs(p) < a + 6 * spread and abs(q) < b + 6 * spread:
        count = nodes(a, spread)
        step = math.pi / count
        turn_c, turn_s = math.cos(step), math.sin(step)
        cosine, sine = math.cos(0.5 * step - math.pi / 2), math.sin(0.5 * step - math.pi / 2)
        for _ in range(count):
            d = p - a * sine
            if abs(d) <= 6 * spread:
                h = b * cosine
                g = peak * math.exp(-0.5 * d * d * inverse) * step * cosine
                up, down = q + h, q - h
                n = 0.5 * (math.erf(up * root) - math.erf(down * root))
                gu = peak * math.exp(-0.5 * up * up * inverse)
                gd = peak * math.exp(-0.5 * down * down * inverse)
                f += a * g * n
                fx -= a * g * n * d * inverse
                fa += g * n + a * g * n * d * inverse * sine
                fy += a * g * (gu - gd)
                fb += a * g * (gu + gd) * cosine
                fxx += a * g * n * (d * d * inverse - 1) * inverse
                fyy += a * g * (down * gd - up * gu) * inverse
            cosine, sine = cosine * turn_c - sine * turn_s, sine * turn_c + cosine * turn_s
    return f, c * fx - s * fy, s * fx + c * fy, fa, fb, fx * q - fy * p, spread * spread * (fxx + fyy)
