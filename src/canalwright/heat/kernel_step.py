# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""Kernels: one time step, by super-time-stepping, and its error.

Runge-Kutta-Legendre, second order (RKL2; Meyer, Balsara & Aslam 2014, J Comput Phys 257:594-626): s explicit stages
reach
(s^2 + s - 2) / 4 times the step of explicit Euler, stable for every s. The local error is estimated as in the
Runge-Kutta-Chebyshev code of Sommeijer, Shampine & Verwer 1998 (J Comput Appl Math 88:315-326):
0.8 (u0 - u1) + 0.4 dt (u0' + u1').
"""

import math

from canalwright.heat.kernel_cells import njit
from canalwright.heat.kernel_phase import temperature


@njit
def rates(g, s, c, p, tool, tip, on, target, t, f):
    """du/dt of every cell and of the instrument's nodes at temperatures `t`, into `f`."""
    nr, n = g.nr, g.nr * g.nz
    radial, axial, blood, inverse = c.radial, c.axial, c.blood, c.inverse
    for k in range(nr, n - nr):
        x = t[k]
        f[k] = (
            radial[k] * (t[k + 1] - x)
            + radial[k - 1] * (t[k - 1] - x)
            + axial[k] * (t[k + nr] - x)
            + axial[k - nr] * (t[k - nr] - x)
            - blood[k] * x
        ) * inverse[k]
    if tool < 0:
        return 0.0
    power = heater(s, p, tool, on, target, t[n + p.sensor[tool]])
    each = power / max(p.heated[tool], 1)
    for k in range(g.nodes):
        x = t[n + k]
        q = each if k < p.heated[tool] else 0.0
        if k > 0:
            q += c.rod[k - 1] * (t[n + k - 1] - x)
        if k + 1 < g.nodes:
            q += c.rod[k] * (t[n + k + 1] - x)
        j = tip + k
        if j < g.last:
            at, covered = j * nr, c.covered[j]
            q += c.radial[at + covered - 1] * (t[at + covered] - x)
            for i in range(covered):
                q += axial[at - nr + i] * (t[at - nr + i] - x)
        else:
            q += s.top_film * 2.0 * math.pi * p.radius[tool, k] * g.step * (s.top_temperature - x)
        f[n + k] = q * inverse[n + k]
    return power


@njit
def heater(s, p, tool, on, target, sensor):
    """Power of the heater, W: full below the set point, none above, in proportion over a narrow band."""
    return p.power[tool] * min(max((target - sensor) / s.band, 0.0), 1.0) if on else 0.0


@njit
def settle(g, s, c, tool, tip, low, high, u, t):
    """Temperatures `t` from enthalpies `u`: gutta-percha in rows low..high - 1, covered cells from the instrument."""
    nr, n = g.nr, g.nr * g.nz
    t[:] = u
    for j in range(low, high):
        for k in range(j * nr, j * nr + g.inner):
            t[k] = temperature(s, u[k], c.latent[k], c.melt[k])
    if tool >= 0:
        for j in range(tip, min(tip + g.nodes, g.last)):
            for i in range(c.covered[j]):
                t[j * nr + i] = u[n + j - tip]


@njit
def flows(g, s, c, p, tool, tip, t):
    """Heat that comes in through the borders, and from the blood, W."""
    nr, n, border, blood = g.nr, g.nr * g.nz, 0.0, 0.0
    for k in range(n):
        if c.capacity[k] > 0.0:
            x = t[k]
            blood -= c.blood[k] * x
            j, i = k // nr, k % nr
            if c.capacity[k + 1] == 0.0 and i + 1 >= c.covered[j]:
                border += c.radial[k] * (t[k + 1] - x)
            if c.capacity[k + nr] == 0.0 and i >= c.covered[j + 1]:
                border += c.axial[k] * (t[k + nr] - x)
            if c.capacity[k - nr] == 0.0 and i >= c.covered[j - 1]:
                border += c.axial[k - nr] * (t[k - nr] - x)
    if tool >= 0:
        for k in range(max(g.last - tip, 0), g.nodes):
            film = s.top_film * 2.0 * math.pi * p.radius[tool, k] * g.step
            border += film * (s.top_temperature - t[n + k])
    return border, blood


@njit
def stages_for(dt, rate):
    """Least odd number (so that the last stage ends in work[2]) of stages that is stable for a step dt, for eigenvalues
    down to -rate."""
    count = math.ceil((math.sqrt(9.0 + 8.0 * dt * rate) - 1.0) / 2.0)
    return max(3, count + 1 - count % 2)


@njit
def combine(mu, nu, rest, mt, gt, y1, y2, y0, f, f0):
    """One stage of the recurrence, into y2."""
    for k in range(len(y2)):
        y2[k] = mu * y1[k] + nu * y2[k] + rest * y0[k] + mt * f[k] + gt * f0[k]


@njit
def step(g, s, c, p, tool, tip, on, target, low, high, dt, count, audit, book):
    """One step: work[0] holds u0 and work[1] its rate; the result ends in work[2], its rate in work[4], returned error.

    With `audit` the heat of heater, borders and blood is carried through the same stages into book[3:6].
    """
    y0, f0, ya, yb, f, t = c.work[0], c.work[1], c.work[2], c.work[3], c.work[4], c.work[5]
    w1 = 4.0 / (count * count + count - 2.0)
    third = 1.0 / 3.0
    yb[:] = y0
    mt = third * w1 * dt
    for k in range(len(y0)):
        ya[k] = y0[k] + mt * f0[k]
    q0h = q0b = q0p = 0.0
    if audit:
        settle(g, s, c, tool, tip, low, high, y0, t)
        q0h = heater(s, p, tool, on, target, t[g.nr * g.nz + p.sensor[tool]]) if tool >= 0 else 0.0
        q0b, q0p = flows(g, s, c, p, tool, tip, t)
    h1, b1, p1, h2, b2, p2 = mt * q0h, mt * q0b, mt * q0p, 0.0, 0.0, 0.0
    back2, back1 = third, third
    for j in range(2, count + 1):
        b = (j * j + j - 2.0) / (2.0 * j * (j + 1.0))
        mu = (2.0 * j - 1.0) / j * b / back1
        nu = -(j - 1.0) / j * b / back2
        mt = mu * w1 * dt
        gt = -(1.0 - back1) * mt
        settle(g, s, c, tool, tip, low, high, ya, t)
        power = rates(g, s, c, p, tool, tip, on, target, t, f)
        combine(mu, nu, 1.0 - mu - nu, mt, gt, ya, yb, y0, f, f0)
        ya, yb = yb, ya
        if audit:
            qb, qp = flows(g, s, c, p, tool, tip, t)
            h1, h2 = mu * h1 + nu * h2 + mt * power + gt * q0h, h1
            b1, b2 = mu * b1 + nu * b2 + mt * qb + gt * q0b, b1
            p1, p2 = mu * p1 + nu * p2 + mt * qp + gt * q0p, p1
        back2, back1 = back1, b
    if audit:
        book[3], book[4], book[5] = h1, b1, p1
    settle(g, s, c, tool, tip, low, high, c.work[2], t)
    rates(g, s, c, p, tool, tip, on, target, t, f)
    worst = 0.0
    y1 = c.work[2]
    for k in range(len(y0)):
        worst = max(worst, abs(0.8 * (y0[k] - y1[k]) + 0.4 * dt * (f0[k] + f[k])))
    return worst
