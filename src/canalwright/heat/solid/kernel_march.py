# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""Kernels: from one moment to another with adaptive steps, by super-time-stepping as in the (r, z) model.

Runge-Kutta-Legendre, second order (RKL2; Meyer, Balsara & Aslam 2014, J Comput Phys 257:594-626), error estimate as in
Sommeijer, Shampine & Verwer 1998 (J Comput Appl Math 88:315-326), root mean square over the cells.
"""

import math

import numpy as np

from canalwright.heat.solid.kernel_base import (
    F0,
    F1,
    GROSS,
    GX,
    INVERSE,
    LAST,
    LOSS,
    REJECTED,
    STAGES,
    STEPS,
    Y0,
    YA,
    YB,
    njit,
)  # fmt: skip
from canalwright.heat.solid.kernel_log import observe
from canalwright.heat.solid.kernel_stage import finish, stage, stage_wide

MOST_STAGES, SAFETY, WATCH = 61, 0.8, 1.0


@njit
def march(b, m, r, w, fr, stuff, log, state, wide):
    """Advance from now.time to now.end with instrument and heater as `now` says. Row Y0 holds the temperatures.

    `wide`: None for one core, anything else for all (the kernels are compiled for the one that is asked for).
    """
    now, s, count_cells = state[0], stuff[0], 0
    for z in range(1, b.nz - 1):
        count_cells += b.span[z, 1] - b.span[z, 0]
    error_of = np.zeros(b.nz)
    rate = 1.02 * max(b.rate.max(), rod_rate(r))
    y0, f0 = b.y[Y0], b.y[F0]
    for k in range(len(r.cover)):
        y0[r.cover[k]] = r.t[Y0, r.cover_node[k]]
    watch(b, m, s)
    finish(b, m, Y0, 0, 0.0, error_of)
    f0[:] = b.y[F1]
    rod_rates(b, r, s, now, b.y[Y0], Y0, F0)
    while now.end - now.time > 1e-9:
        left = now.end - now.time
        dt = min(now.step, left)
        if now.fixed > 0.0:
            dt = min(now.fixed, left)
        elif dt < left < 1.6 * dt:
            dt = left / 2
        count = stages_for(dt, rate)
        if count > MOST_STAGES:
            count = MOST_STAGES
            dt = 0.5 * (count * count + count - 2) / rate
        error = math.sqrt(max(step(b, m, r, stuff, now, dt, count, error_of, log.book, wide), 0.0) / count_cells)
        log.count[STAGES] += count
        factor = SAFETY * (now.tolerance / max(error, 1e-12)) ** (1.0 / 3.0)
        if error > now.tolerance and dt > 1e-5 and now.fixed <= 0.0:
            log.count[REJECTED] += 1
            now.step = dt * max(factor, 0.2)
            continue
        log.count[STEPS] += 1
        if dt < left or factor < 1.0:
            now.step = min(dt * min(max(factor, 0.3), 3.0), now.slowest)
        now.time = now.end if dt == left else now.time + dt
        if now.audit:
            for k in range(3):
                log.book[k] += log.book[LAST + k]
                log.book[GROSS] += abs(log.book[LAST + k])
        accept(b, m, r)
        watch(b, m, s)
        observe(b, m, r, w, fr, s, log, now, dt)


@njit
def watch(b, m, s):
    """Which layers hold gutta-percha warm enough to melt or freeze."""
    cold = s.freeze_low - WATCH
    for z in range(b.nz):
        m.warm[z] = 0
        for k in range(m.start[z], m.start[z + 1]):
            if m.latent[k] > 0.0 and (b.y[Y0, m.cell[k]] > cold or m.molten[k] > 0.0):
                m.warm[z] = 1
                break


@njit
def step(b, m, r, stuff, now, dt, count, error_of, book, wide):
    """One step; the result ends in row YA, its rate in F1; returns the sum of squares of the error."""
    s = stuff[0]
    w1 = 4.0 / (count * count + count - 2.0)
    third = 1.0 / 3.0
    mt = third * w1 * dt
    b.y[YB][:] = b.y[Y0]
    m.e[1][:] = m.e[0]
    m.e[2][:] = m.e[0]
    r.t[YB][:] = r.t[Y0]
    for k in range(len(r.inverse)):
        r.t[YA, k] = r.t[Y0, k] + mt * r.t[F0, k]
        r.t[5, k] = r.t[YA, k]
    b.y[YA][:] = b.y[Y0]
    stage(b, m, r, stuff, Y0, YA, 0.0, 0.0, 0.0, mt, 0, 1)
    q0h = q0b = q0p = 0.0
    if now.audit:
        q0h = heater(s, now, r.t[Y0])
        q0b, q0p = flows(b, r, s, b.y[Y0], r.t[Y0])
    h1, b1, p1, h2, b2, p2 = mt * q0h, mt * q0b, mt * q0p, 0.0, 0.0, 0.0
    new, old, e1, e2 = YA, YB, 1, 2
    back2, back1 = third, third
    for j in range(2, count + 1):
        c = (j * j + j - 2.0) / (2.0 * j * (j + 1.0))
        mu = (2.0 * j - 1.0) / j * c / back1
        nu = -(j - 1.0) / j * c / back2
        mt = mu * w1 * dt
        gt = -(1.0 - back1) * mt
        rod_rates(b, r, s, now, b.y[new], new, F1)
        if now.audit:
            qh = heater(s, now, r.t[new])
            qb, qp = flows(b, r, s, b.y[new], r.t[new])
            h1, h2 = mu * h1 + nu * h2 + mt * qh + gt * q0h, h1
            b1, b2 = mu * b1 + nu * b2 + mt * qb + gt * q0b, b1
            p1, p2 = mu * p1 + nu * p2 + mt * qp + gt * q0p, p1
        for k in range(len(r.inverse)):
            z = r.t[Y0, k]
            r.t[old, k] = z + mu * (r.t[new, k] - z) + nu * (r.t[old, k] - z) + mt * r.t[F1, k] + gt * r.t[F0, k]
            r.t[5, k] = r.t[old, k]
        if wide is None:
            stage(b, m, r, stuff, new, old, mu, nu, mt, gt, e1, e2)
        else:
            stage_wide(b, m, r, stuff, new, old, mu, nu, mt, gt, e1, e2)
        new, old, e1, e2 = old, new, e2, e1
        back2, back1 = back1, c
    if now.audit:
        book[LAST], book[LAST + 1], book[LAST + 2] = h1, b1, p1
    finish(b, m, YA, 1, dt, error_of)
    rod_rates(b, r, s, now, b.y[YA], YA, F1)
    total = error_of.sum()
    if now.tool >= 0:
        for k in range(len(r.inverse)):
            total += (0.8 * (r.t[Y0, k] - r.t[YA, k]) + 0.4 * dt * (r.t[F0, k] + r.t[F1, k])) ** 2
    return total


@njit
def stages_for(dt, rate):
    """Least odd number of stages (the last then ends in row YA) that is stable for eigenvalues down to -rate."""
    count = math.ceil((math.sqrt(9.0 + 8.0 * dt * rate) - 1.0) / 2.0)
    return max(3, count + 1 - count % 2)


@njit
def accept(b, m, r):
    """Take over the result of a step."""
    b.y[Y0][:] = b.y[YA]
    b.y[F0][:] = b.y[F1]
    r.t[Y0][:] = r.t[YA]
    r.t[F0][:] = r.t[F1]
    for k in range(len(m.cell)):
        if m.latent[k] > 0.0:
            m.e[0, k] = m.e[1, k]
            m.molten[k] = min(max(m.e[1, k] / m.latent[k], 0.0), 1.0)


@njit
def rod_rates(b, r, s, now, t, at, to):
    """Rates of the instrument's nodes at their temperatures in row `at`, into row `to`."""
    if now.tool < 0:
        return
    x, f, n = r.t[at], r.t[to], len(r.inverse)
    each = heater(s, now, x) / max(now.heated, 1)
    for k in range(n):
        q = each if k < now.heated else 0.0
        if k > 0:
            q += r.link[k - 1] * (x[k - 1] - x[k])
        if k + 1 < n:
            q += r.link[k] * (x[k + 1] - x[k])
        f[k] = q + r.ambient[k] * (s.top_temperature - x[k])
    for i in range(len(r.touch)):
        k = r.node[i]
        f[k] += r.g[i] * (t[r.touch[i]] - x[k])
    for k in range(n):
        f[k] *= r.inverse[k]


@njit
def heater(s, now, x):
    """Power of the heater, W: full below the set point, none above, in proportion over a narrow band."""
    if now.tool < 0 or now.on == 0:
        return 0.0
    return now.power * min(max((now.target - x[now.sensor]) / s.band, 0.0), 1.0)


@njit
def rod_rate(r):
    """Gershgorin bound of the fastest rate of the instrument's nodes."""
    n, worst = len(r.inverse), 0.0
    total = np.zeros(n)
    for i in range(len(r.touch)):
        total[r.node[i]] += r.g[i]
    for k in range(n):
        both = total[k] + r.ambient[k] + r.link[k] + (r.link[k - 1] if k > 0 else 0.0)
        worst = max(worst, 2.0 * both * r.inverse[k])
    return worst


@njit
def flows(b, r, s, t, x):
    """Heat that comes in from cells that are held (the borders), and from the blood, W."""
    border = blood = 0.0
    covered = np.zeros(len(t), np.bool_)
    covered[r.cover] = True
    offset = (1, b.nx, b.plane)
    for k in range(b.plane, len(t) - b.plane):
        if b.g[INVERSE, k] > 0.0:
            blood -= float(b.g[LOSS, k]) * t[k]
            for a in range(3):
                d = offset[a]
                up, down = k + d, k - d
                if b.g[INVERSE, up] == 0.0 and not covered[up]:
                    border += float(b.g[GX + a, k]) * (float(t[up]) - t[k])
                if b.g[INVERSE, down] == 0.0 and not covered[down]:
                    border += float(b.g[GX + a, down]) * (float(t[down]) - t[k])
    for k in range(len(r.inverse)):
        border += r.ambient[k] * (s.top_temperature - x[k])
    return border, blood
