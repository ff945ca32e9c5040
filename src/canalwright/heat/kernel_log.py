# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""Kernels: what is written down of each step."""

import math

import numpy as np

from canalwright.heat.kernel_base import njit
from canalwright.heat.layout import (
    ABOVE,
    APICAL,
    AT_ACT,
    AT_CARRIER,
    AT_CARRIER_T,
    AT_FRONT,
    AT_PLUGGER,
    AT_TIME,
    AT_TOP,
    BEFORE,
    CAPACITY,
    CENTRE,
    CONTENT,
    COOLED,
    DOSE,
    DOSING,
    EDGE,
    FILLED,
    FRAMES,
    FRONT,
    LATENT,
    MELT,
    PEAK,
    REST,
    RISE,
    RISE_AT,
    SHARE,
    UNSET,
    WEIGHT,
)  # fmt: skip

WATCHED = 3.0
"""Length of filling beneath the plugger whose cooling is timed, mm."""

COUNTED = 38.0
"""Below this the dose is not counted (0.001 minute per minute), deg C."""
LN2 = math.log(2.0)


@njit
def surface(g, c, j):
    """Temperature of the root surface in row j."""
    at = j * g.nr + c.mark[EDGE, j]
    return c.row[WEIGHT, j] * c.t[at] + (1.0 - c.row[WEIGHT, j]) * c.t[at + 1]


@njit
def soft(g, s, c, j):
    """True when the gutta-percha of row j is molten enough to move."""
    if c.mark[CONTENT, j] != FILLED:
        return False
    molten = whole = 0.0
    for k in range(j * g.nr, j * g.nr + g.inner):
        share = c.field[SHARE, k] * c.field[CAPACITY, k]
        molten += share * c.field[MELT, k]
        whole += share
    return molten >= s.soft * whole and whole > 0.0


@njit
def front_of(g, s, c, now, low):
    """Row of the deepest soft place from row `low` up (the top when there is none)."""
    for j in range(max(g.first, low), now.top):
        if soft(g, s, c, j):
            return j
    return now.top


@njit
def observe(g, s, c, p, log, now, dt, low):
    """Add one step to the summaries, and write a frame when one is due; below row `low` nothing is molten."""
    hottest, level, limit = -UNSET, 0, 47.0 - s.body
    for j in range(g.first, g.last):
        here, before = surface(g, c, j), log.row[BEFORE, j]
        log.row[BEFORE, j] = here
        rise = here - log.row[REST, j]
        log.row[PEAK, j] = max(log.row[PEAK, j], rise)
        if rise > hottest:
            hottest, level = rise, j
        high, low = max(here, before), min(here, before)
        if low >= limit:
            log.row[ABOVE, j] += dt
        elif high > limit:
            log.row[ABOVE, j] += dt * (high - limit) / (high - low)
        if high + s.body > COUNTED:
            was, rate = log.row[DOSING, j], dose_rate(here + s.body)
            if was == 0.0:
                was = dose_rate(before + s.body)
            log.row[DOSE, j] += dt / 60.0 * 0.5 * (rate + was)
            log.row[DOSING, j] = rate
        else:
            log.row[DOSING, j] = 0.0
    act = log.acts[now.act]
    if hottest > act[RISE]:
        act[RISE], act[RISE_AT] = hottest, g.row[CENTRE, level]
    front = front_of(g, s, c, now, low if s.soft > 0.0 else g.first)
    act[FRONT] = min(act[FRONT], g.row[CENTRE, front] - g.step / 2)
    for j in range(g.first, now.top):
        if c.mark[CONTENT, j] == FILLED:
            act[APICAL] = max(act[APICAL], c.t[j * g.nr] + s.body)
            break
    if now.watched >= 0 and log.acts[now.watched, COOLED] >= UNSET:
        warm = -UNSET
        for j in range(max(g.first, now.top - round(WATCHED / g.step)), now.top):
            if c.mark[CONTENT, j] == FILLED:
                warm = max(warm, c.t[j * g.nr])
        if warm < s.freeze_low:
            log.acts[now.watched, COOLED] = now.time - now.watched_since
    if now.frames > 0 and (now.time - now.framed >= now.every or now.time >= now.act_end - 1e-9):
        frame(g, s, c, p, log, now)


@njit
def dose_rate(t):
    """Equivalent minutes at 43 deg C per minute."""
    return math.exp(LN2 * min(t - 43.0, 60.0)) if t >= 43.0 else math.exp(2.0 * LN2 * (t - 43.0))


@njit
def frame(g, s, c, p, log, now):
    """Write one frame."""
    at = log.count[FRAMES]
    if at >= now.frames:
        return
    log.count[FRAMES] += 1
    now.framed = now.time
    row, half = log.frames[at], g.step / 2
    row[AT_TIME], row[AT_ACT] = now.time, now.act
    row[AT_FRONT], row[AT_TOP] = g.row[CENTRE, front_of(g, s, c, now, g.first)] - half, g.row[CENTRE, now.top] - half
    row[AT_CARRIER] = row[AT_CARRIER_T] = row[AT_PLUGGER] = np.nan
    if now.tool >= 0:
        place = g.row[CENTRE, now.tip] - half
        if p.power[now.tool, 0] > 0.0:
            row[AT_CARRIER], row[AT_CARRIER_T] = place, c.t[g.nr * g.nz] + s.body
        else:
            row[AT_PLUGGER] = place
    for j in range(g.nz):
        log.lines[0, at, j] = c.t[j * g.nr] + s.body
        log.lines[1, at, j] = surface(g, c, j) + s.body


@njit
def energy(g, c, now):
    """Heat in the cells, and in the instrument while it is in the canal, J, above body temperature; 0 where no book is kept."""
    n, total = g.nr * g.nz, 0.0
    if not now.audit:
        return total
    for k in range(n):
        total += c.field[CAPACITY, k] * (c.t[k] + c.field[LATENT, k] * c.field[MELT, k])
    if now.tool >= 0:
        for k in range(g.nodes):
            total += c.field[CAPACITY, n + k] * c.t[n + k]
    return total
