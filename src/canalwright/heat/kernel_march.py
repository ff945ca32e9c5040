# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""Kernels: from one moment to another with adaptive steps."""

from canalwright.heat.kernel_base import njit
from canalwright.heat.kernel_lists import list_instrument, list_warm, rod_rate, settle, take_molten
from canalwright.heat.kernel_log import observe
from canalwright.heat.kernel_step import rates, stages_for, step
from canalwright.heat.layout import (
    CONTENT,
    FILLED,
    GROSS,
    LAST,
    LATENT,
    MELT,
    RATE,
    REJECTED,
    STAGES,
    STEPS,
)  # fmt: skip

MOST_STAGES, SAFETY, WATCH = 61, 0.8, 1.0


@njit
def march(g, s, c, p, log, now):
    """Advance from now.time to now.end with the instrument and heater as `now` says."""
    n = g.nr * g.nz
    list_instrument(g, s, c, p, now)
    rate = rod_rate(g, c, now)
    for j in range(g.nz):
        rate = max(rate, c.row[RATE, j])
    rate *= 1.02
    y0, f0, t = c.work[0], c.work[1], c.work[5]
    for k in range(n):
        y0[k] = c.t[k] + c.field[LATENT, k] * c.field[MELT, k]
    for k in range(n, n + g.nodes):
        y0[k] = c.t[k]
    low, high = active(g, s, c, now, y0)
    list_warm(g, s, c, low, high)
    settle(g, s, c, now, y0, t)
    rates(g, s, c, p, now, t, f0)
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
        error = step(g, s, c, p, now, dt, count, log.book)
        log.count[STAGES] += count
        factor = SAFETY * (now.tolerance / max(error, 1e-12)) ** (1.0 / 3.0)
        if error > now.tolerance and dt > 1e-5 and now.fixed <= 0.0:
            log.count[REJECTED] += 1
            now.step = dt * max(factor, 0.2)
            continue
        log.count[STEPS] += 1
        if dt < left or factor < 1.0:
            now.step = dt * min(max(factor, 0.3), 3.0)
        now.time = now.end if dt == left else now.time + dt
        if now.audit:
            for k in range(3):
                log.book[k] += log.book[LAST + k]
                log.book[GROSS] += abs(log.book[LAST + k])
        accept(c)
        before = low, high
        low, high = active(g, s, c, now, y0)
        if (low, high) != before:
            list_warm(g, s, c, low, high)
        observe(g, s, c, p, log, now, dt, low)


@njit
def active(g, s, c, now, u):
    """Rows in which gutta-percha is warm enough to melt or freeze; elsewhere its enthalpy is its temperature."""
    low, high, warm = now.top, g.first, s.freeze_low - WATCH
    if s.latent == 0.0:
        return low, high
    for j in range(g.first, now.top):
        if c.mark[CONTENT, j] != FILLED:
            continue
        row = u[j * g.nr : j * g.nr + g.inner]
        greatest = row[0]
        for k in range(len(row)):
            greatest = max(greatest, row[k])
        if greatest > warm:
            low, high = min(low, j), j + 1
    return low, high


@njit
def accept(c):
    """Take over the result of a step: enthalpies and rates to start from, temperatures, new molten fractions."""
    u, f, t = c.work[2], c.work[4], c.work[5]
    y0, f0, now = c.work[0], c.work[1], c.t
    for k in range(len(u)):
        y0[k] = u[k]
    for k in range(len(u)):
        f0[k] = f[k]
    for k in range(len(u)):
        now[k] = t[k]
    take_molten(c, u, t)
