# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""Kernels: from one moment to another with adaptive steps, and what is written down on the way."""

import numpy as np

from canalwright.heat.kernel_cells import njit
from canalwright.heat.kernel_phase import temperature
from canalwright.heat.kernel_step import rates, settle, stages_for, step
from canalwright.heat.layout import FILLED

FIRST_STEP, MOST_STAGES, SAFETY = 0.005, 61, 0.8
NOT_YET = 1e30


@njit
def march(g, s, c, p, log, control, now, tool, on, target):
    """Advance from now[0] to now[1] with the instrument `tool` (-1: none), its tip in row now[3], heater `on`.

    `now`: time, end, step to try, tip row, top row, last frame, act, watched act, its start,
    end of the act.
    """
    n = g.nr * g.nz
    tip, top = int(now[3]), int(now[4])
    low, high = g.first, top
    rate = 0.0
    for j in range(g.nz):
        rate = max(rate, c.rate[j])
    if tool >= 0:
        rate = max(rate, rod_rate(g, s, c, p, tool, tip))
    y0, f0 = c.work[0], c.work[1]
    for k in range(n):
        y0[k] = c.t[k] + c.latent[k] * c.melt[k]
    y0[n:] = c.t[n:]
    t = c.work[5]
    settle(g, s, c, tool, tip, low, high, y0, t)
    rates(g, s, c, p, tool, tip, on, target, t, f0)
    while now[1] - now[0] > 1e-9:
        left = now[1] - now[0]
        dt = min(now[2], left)
        if control.fixed_step > 0.0:
            dt = min(control.fixed_step, left)
        elif left < 1.6 * dt and left > dt:
            dt = left / 2
        count = stages_for(dt, rate * 1.02)
        if count > MOST_STAGES:
            count = MOST_STAGES
            dt = min(dt, 0.5 * (count * count + count - 2) / (rate * 1.02))
        error = step(g, s, c, p, tool, tip, on, target, low, high, dt, count, control.audit, log.book)
        log.count[2] += count
        factor = SAFETY * (control.tolerance / max(error, 1e-12)) ** (1.0 / 3.0)
        if error > control.tolerance and dt > 1e-5 and control.fixed_step <= 0.0:
            log.count[3] += 1
            now[2] = dt * max(factor, 0.2)
            continue
        log.count[1] += 1
        if dt < left or factor < 1.0:
            now[2] = dt * min(max(factor, 0.3), 3.0)
        now[0] = now[1] if dt == left else now[0] + dt
        if control.audit:
            for k in range(3):
                log.book[k] += log.book[3 + k]
                log.book[7] += abs(log.book[3 + k])
        y0[:] = c.work[2]
        f0[:] = c.work[4]
        settle(g, s, c, tool, tip, low, high, y0, t)
        accept(g, c, low, high, y0, t)
        observe(g, s, c, p, log, control, now, dt, tool, tip, top)


@njit
def rod_rate(g, s, c, p, tool, tip):
    """Gershgorin bound of the fastest rate of the instrument's nodes."""
    n, nr, worst = g.nr * g.nz, g.nr, 0.0
    for k in range(g.nodes):
        total = c.rod[k] + (c.rod[k - 1] if k > 0 else 0.0)
        j = tip + k
        if j < g.last:
            at = j * nr
            total += c.radial[at + c.covered[j] - 1]
            for i in range(c.covered[j]):
                total += c.axial[at - nr + i]
        worst = max(worst, 2.0 * total * c.inverse[n + k])
    return worst


@njit
def accept(g, c, low, high, u, t):
    """Take over the temperatures and the new molten fractions of a step."""
    c.t[:] = t
    for j in range(low, high):
        for k in range(j * g.nr, j * g.nr + g.inner):
            if c.latent[k] > 0.0:
                c.melt[k] = min(max((u[k] - t[k]) / c.latent[k], 0.0), 1.0)


@njit
def surface(g, c, j):
    """Temperature of the root surface in row j."""
    at = j * g.nr + c.edge[j]
    return c.weight[j] * c.t[at] + (1.0 - c.weight[j]) * c.t[at + 1]


@njit
def soft(g, s, c, j):
    """True when the gutta-percha of row j is molten enough to move."""
    if c.content[j] != FILLED:
        return False
    molten = whole = 0.0
    for k in range(j * g.nr, j * g.nr + g.inner):
        share = c.share[k] * c.capacity[k]
        molten += share * c.melt[k]
        whole += share
    return molten >= s.soft * whole and whole > 0.0


@njit
def front_of(g, s, c, top):
    """Row of the deepest soft place (the top when there is none)."""
    for j in range(g.first, top):
        if soft(g, s, c, j):
            return j
    return top


@njit
def observe(g, s, c, p, log, control, now, dt, tool, tip, top):
    """Add one step to the summaries, and write a frame when one is due."""
    act = int(now[6])
    hottest, level = -NOT_YET, 0
    for j in range(g.first, g.last):
        here = surface(g, c, j)
        before = log.before[j]
        log.before[j] = here
        rise = here - log.rest[j]
        if rise > log.peak[j]:
            log.peak[j] = rise
        if rise > hottest:
            hottest, level = rise, j
        limit = 47.0 - s.body
        above, below = max(here, before), min(here, before)
        if below >= limit:
            log.above[j] += dt
        elif above > limit:
            log.above[j] += dt * (above - limit) / (above - below)
        log.dose[j] += dt / 60.0 * 0.5 * (dose_rate(here + s.body) + dose_rate(before + s.body))
    if hottest > log.acts[act, 1]:
        log.acts[act, 1], log.acts[act, 2] = hottest, g.centre[level]
    front = front_of(g, s, c, top)
    log.acts[act, 0] = min(log.acts[act, 0], g.centre[front] - g.step / 2)
    for j in range(g.first, top):
        if c.content[j] == FILLED:
            log.acts[act, 3] = max(log.acts[act, 3], c.t[j * g.nr] + s.body)
            break
    watched = int(now[7])
    if watched >= 0 and log.acts[watched, 4] >= NOT_YET:
        warm = -NOT_YET
        for j in range(max(g.first, top - round(3.0 / g.step)), top):
            if c.content[j] == FILLED:
                warm = max(warm, c.t[j * g.nr])
        if warm < s.freeze_low:
            log.acts[watched, 4] = now[0] - now[8]
    if control.frames > 0 and (now[0] - now[5] >= control.every or now[0] >= now[9] - 1e-9):
        frame(g, s, c, p, log, control, now, tool, tip, top, front)


@njit
def dose_rate(t):
    """Equivalent minutes at 43 deg C per minute."""
    if t < 37.0:
        return 0.0
    return 2.0 ** min(t - 43.0, 60.0) if t >= 43.0 else 4.0 ** (t - 43.0)


@njit
def frame(g, s, c, p, log, control, now, tool, tip, top, front):
    """Write one frame."""
    at = int(log.count[0])
    if at >= control.frames:
        return
    log.count[0] += 1
    now[5] = now[0]
    row = log.frames[at]
    half = g.step / 2
    row[0], row[1], row[2] = now[0], g.centre[front] - half, g.centre[top] - half
    row[3] = row[4] = row[5] = np.nan
    if tool >= 0:
        place = g.centre[tip] - half
        if p.power[tool] > 0.0:
            row[3], row[4] = place, c.t[g.nr * g.nz] + s.body
        else:
            row[5] = place
    row[6] = now[6]
    for j in range(g.nz):
        log.axis[at, j] = c.t[j * g.nr] + s.body
        log.surface[at, j] = surface(g, c, j) + s.body


@njit
def energy(g, c, tool):
    """Heat in cells (and in the instrument when it is in the canal), J, above body temperature."""
    n, total = g.nr * g.nz, 0.0
    for k in range(n):
        total += c.capacity[k] * (c.t[k] + c.latent[k] * c.melt[k])
    if tool >= 0:
        for k in range(g.nodes):
            total += c.capacity[n + k] * c.t[n + k]
    return total


@njit
def put(s, c, k, u, molten):
    """Give cell k the enthalpy `u`, its molten fraction having been `molten`."""
    c.t[k] = temperature(s, u, c.latent[k], molten)
    c.melt[k] = min(max((u - c.t[k]) / c.latent[k], 0.0), 1.0) if c.latent[k] > 0.0 else 0.0
