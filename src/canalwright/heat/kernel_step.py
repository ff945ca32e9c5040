# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""Kernels: one time step, by super-time-stepping, and its error.

Runge-Kutta-Legendre, second order (RKL2; Meyer, Balsara & Aslam 2014, J Comput Phys 257:594-626): s explicit stages
reach (s^2 + s - 2) / 4 times the step of explicit Euler, stable for every s. The local error is estimated as in the
Runge-Kutta-Chebyshev code of Sommeijer, Shampine & Verwer 1998 (J Comput Appl Math 88:315-326):
0.8 (u0 - u1) + 0.4 dt (u0' + u1'), in the root mean square over the cells.
"""

import math

from canalwright.heat.kernel_base import njit, njit_sum
from canalwright.heat.kernel_lists import settle
from canalwright.heat.kernel_phase import temperature
from canalwright.heat.layout import (
    AXIAL,
    BLOOD,
    CAPACITY,
    COVERED,
    INVERSE,
    LAST,
    RADIAL,
    WARM,
)  # fmt: skip


@njit
def diffuse(nr, n, radial, axial, blood, inverse, t, f):
    """Rates of all cells but the borders. Slices of equal length, so that the loop becomes vector instructions."""
    m = n - 2 * nr
    here, right, left, up, down = t[nr:], t[nr + 1 :], t[nr - 1 :], t[2 * nr :], t
    out, to_right, to_left = f[nr : nr + m], radial[nr:], radial[nr - 1 :]
    to_up, to_down, loss, inv = axial[nr:], axial, blood[nr:], inverse[nr:]
    for k in range(m):
        x = here[k]
        out[k] = (
            to_right[k] * (right[k] - x)
            + to_left[k] * (left[k] - x)
            + to_up[k] * (up[k] - x)
            + to_down[k] * (down[k] - x)
            - loss[k] * x
        ) * inv[k]


@njit
def rates(g, s, c, p, now, t, f):
    """du/dt of every cell and of the instrument's nodes at temperatures `t`, into `f`; returns the heater's power, W."""
    nr, n = g.nr, g.nr * g.nz
    radial, axial, inverse = c.field[RADIAL], c.field[AXIAL], c.field[INVERSE]
    diffuse(nr, n, radial, axial, c.field[BLOOD], inverse, t, f)
    tool = now.tool
    if tool < 0:
        return 0.0
    power, heated = heater(g, s, p, now, t), p.place[tool, 0]
    touch(g.nodes, c.start, c.link, c.pull, t, t[n:], c.gain)
    for k in range(heated):
        c.gain[k] += power / heated
    along(g.nodes, c.rod, c.film, s.top_temperature, c.gain, inverse[n:], t[n - 1 :], f[n:])
    return power


@njit
def touch(nodes, start, link, pull, t, node, gain):
    """Heat from the cells that touch each node, W."""
    for k in range(nodes):
        x, q = node[k], 0.0
        for m in range(start[k], start[k + 1]):
            q += pull[m] * (t[link[m]] - x)
        gain[k] = q


@njit
def along(nodes, rod, film, top, gain, inverse, t, f):
    """Rates of the nodes, whose temperatures begin at t[1]: along the rod, over the film above the canal, and what they gain."""
    low, here, high, up = t, t[1:], t[2:], rod[1:]
    for k in range(nodes - 1):
        x = here[k]
        f[k] = (rod[k] * (low[k] - x) + up[k] * (high[k] - x) + film[k] * (top - x) + gain[k]) * inverse[k]
    k = nodes - 1
    x = here[k]
    f[k] = (rod[k] * (low[k] - x) + film[k] * (top - x) + gain[k]) * inverse[k]


@njit
def heater(g, s, p, now, t):
    """Power of the heater, W: full below the set point, none above, in proportion over a narrow band."""
    if now.tool < 0 or now.on == 0:
        return 0.0
    sensor = t[g.nr * g.nz + p.place[now.tool, 1]]
    return p.power[now.tool, 0] * min(max((now.target - sensor) / s.band, 0.0), 1.0)


@njit
def melt_row(s, u, latent, molten, t):
    """Temperatures of the cells of one row."""
    for k in range(len(t)):
        t[k] = temperature(s, u[k], latent[k], molten[k])


@njit
def flows(g, s, c, p, now, t):
    """Heat that comes in through the borders, and from the blood, W."""
    nr, n, border, blood = g.nr, g.nr * g.nz, 0.0, 0.0
    capacity = c.field[CAPACITY]
    for k in range(n):
        if capacity[k] > 0.0:
            x = t[k]
            blood -= c.field[BLOOD, k] * x
            j, i = k // nr, k % nr
            if capacity[k + 1] == 0.0 and i + 1 >= c.mark[COVERED, j]:
                border += c.field[RADIAL, k] * (t[k + 1] - x)
            if capacity[k + nr] == 0.0 and i >= c.mark[COVERED, j + 1]:
                border += c.field[AXIAL, k] * (t[k + nr] - x)
            if capacity[k - nr] == 0.0 and i >= c.mark[COVERED, j - 1]:
                border += c.field[AXIAL, k - nr] * (t[k - nr] - x)
    if now.tool >= 0:
        for m in range(max(g.last - now.tip, 0), g.nodes * g.span):
            film = s.top_film * 2.0 * math.pi * p.radius[now.tool, m] * g.step
            border += film * (s.top_temperature - t[n + m // g.span])
    return border, blood


@njit
def stages_for(dt, rate):
    """Least odd number of stages (the last then ends in work[2]) that is stable for eigenvalues down to -rate."""
    count = math.ceil((math.sqrt(9.0 + 8.0 * dt * rate) - 1.0) / 2.0)
    return max(3, count + 1 - count % 2)


@njit
def combine(mu, nu, rest, mt, gt, y1, y2, y0, f, f0):
    """One stage of the recurrence, into y2."""
    for k in range(len(y2)):
        y2[k] = mu * y1[k] + nu * y2[k] + rest * y0[k] + mt * f[k] + gt * f0[k]


@njit_sum
def misfit(dt, y0, y1, f0, f):
    """Root mean square of the estimated error of a step."""
    total = 0.0
    for k in range(len(y0)):
        e = 0.8 * (y0[k] - y1[k]) + 0.4 * dt * (f0[k] + f[k])
        total += e * e
    return math.sqrt(total / len(y0))


@njit
def step(g, s, c, p, now, dt, count, book):
    """One step: work[0] holds u0 and work[1] its rate; the result ends in work[2], its rate in work[4]; returns the error.

    With `audit` the heat of heater, borders and blood goes through the same stages, into the last entries of the book.
    """
    y0, f0, ya, yb, f, t = c.work[0], c.work[1], c.work[2], c.work[3], c.work[4], c.work[5]
    w1 = 4.0 / (count * count + count - 2.0)
    third = 1.0 / 3.0
    mt = third * w1 * dt
    for k in range(len(y0)):
        yb[k] = y0[k]
        ya[k] = y0[k] + mt * f0[k]
    q0h = q0b = q0p = 0.0
    if now.audit:
        settle(g, s, c, now, y0, t)
        q0h = heater(g, s, p, now, t)
        q0b, q0p = flows(g, s, c, p, now, t)
    h1, b1, p1, h2, b2, p2 = mt * q0h, mt * q0b, mt * q0p, 0.0, 0.0, 0.0
    plain = c.count[WARM] == 0 and now.tool < 0
    back2, back1 = third, third
    for j in range(2, count + 1):
        b = (j * j + j - 2.0) / (2.0 * j * (j + 1.0))
        mu = (2.0 * j - 1.0) / j * b / back1
        nu = -(j - 1.0) / j * b / back2
        mt = mu * w1 * dt
        gt = -(1.0 - back1) * mt
        if plain:
            t = ya
        else:
            settle(g, s, c, now, ya, t)
        power = rates(g, s, c, p, now, t, f)
        combine(mu, nu, 1.0 - mu - nu, mt, gt, ya, yb, y0, f, f0)
        if now.audit:
            qb, qp = flows(g, s, c, p, now, t)
            h1, h2 = mu * h1 + nu * h2 + mt * power + gt * q0h, h1
            b1, b2 = mu * b1 + nu * b2 + mt * qb + gt * q0b, b1
            p1, p2 = mu * p1 + nu * p2 + mt * qp + gt * q0p, p1
        ya, yb = yb, ya
        back2, back1 = back1, b
    if now.audit:
        book[LAST], book[LAST + 1], book[LAST + 2] = h1, b1, p1
    t = c.work[5]
    settle(g, s, c, now, ya, t)
    rates(g, s, c, p, now, t, f)
    return misfit(dt, y0, ya, f0, f)
