# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""Kernels: what is written down of each step."""

import numpy as np

from canalwright.heat.kernel_log import COUNTED, dose_rate
from canalwright.heat.solid.kernel_base import (
    ABOVE,
    ACT,
    APICAL,
    AT_ACT,
    AT_FRONT,
    AT_TIME,
    AT_TIP,
    AT_TIP_T,
    AT_TOP,
    BEFORE,
    BY,
    COOLED,
    DOSE,
    FRONT,
    INVERSE,
    LONG,
    MINUTES,
    MOST,
    PEAK,
    REST,
    RISE,
    RISE_AT,
    TAKEN,
    WHEN,
    Y0,
    njit,
)  # fmt: skip

UNSET = 1e30


@njit
def row_sums(b, m, s, rows, soft, hottest):
    """By row of the canal: whether its gutta-percha is soft, and its greatest temperature (-UNSET: no gutta-percha)."""
    for j in range(rows):
        soft[j], hottest[j] = 0.0, -UNSET
    for k in range(len(m.cell)):
        if m.weight[k] > 0.0:
            j = m.row[k]
            soft[j] += m.weight[k] * (m.molten[k] - s.soft)
            hottest[j] = max(hottest[j], b.y[Y0, m.cell[k]])


@njit
def observe(b, m, r, w, fr, s, log, now, dt):
    """Add one step to the summaries, and take a picture when one is due."""
    on_surface(b, w, s, log, now, dt)
    in_cells(b, s, now, dt)
    along_canal(b, m, s, log, now)
    if now.time - now.framed >= now.every or now.time >= now.act_end - 1e-9:
        picture(b, r, w, fr, log, now)


@njit
def picture(b, r, w, fr, log, now):
    """Keep the present temperatures."""
    at = log.count[TAKEN]
    if at >= len(fr.moment):
        return
    log.count[TAKEN] += 1
    now.framed = now.time
    row = fr.moment[at]
    row[AT_TIME], row[AT_ACT], row[AT_FRONT], row[AT_TOP] = now.time, now.act, now.front, now.top
    row[AT_TIP], row[AT_TIP_T] = (now.tip, r.t[Y0, 0]) if now.tool >= 0 else (-1, 0.0)
    for k in range(len(fr.cell)):
        fr.cells[at, k] = b.y[Y0, fr.cell[k]]
    for p in range(fr.surface.shape[1]):
        fr.surface[at, p] = w.value[BEFORE, p]


@njit
def on_surface(b, w, s, log, now, dt):
    """Rise, seconds above 47 deg C and dose at the points of the root surface; the greatest rise goes to the act."""
    t, v, limit = b.y[Y0], w.value, 47.0 - s.body
    greatest, where = -UNSET, 0
    for p in range(len(w.a)):
        here, before = w.weight[p] * t[w.a[p]] + (1.0 - w.weight[p]) * t[w.b[p]], v[BEFORE, p]
        v[BEFORE, p] = here
        rise = here - v[REST, p]
        if rise > v[PEAK, p]:
            v[PEAK, p], v[WHEN, p], v[ACT, p] = rise, now.time, now.act
        if rise > greatest:
            greatest, where = rise, p
        v[ABOVE, p] += over(before, here, limit) * dt
        if max(here, before) + s.body > COUNTED:
            v[DOSE, p] += dt / 120.0 * (dose_rate(here + s.body) + dose_rate(before + s.body))
    act = log.acts[now.act]
    if greatest > act[RISE]:
        act[RISE], act[RISE_AT] = greatest, w.station[where]


@njit
def over(before, here, limit):
    """Share of a linear passage from `before` to `here` that lies above `limit`."""
    high, low = max(before, here), min(before, here)
    if low >= limit:
        return 1.0
    return (high - limit) / (high - low) if high > limit else 0.0


@njit
def in_cells(b, s, now, dt):
    """Greatest temperature, seconds above 47 deg C and dose of every cell (with the temperature at the end of the step)."""
    t, most, act = b.y[Y0], b.dose[MOST], b.dose[BY]
    warm, limit = COUNTED - s.body, 47.0 - s.body
    for z in range(1, b.nz - 1):
        for k in range(z * b.plane + b.span[z, 0], z * b.plane + b.span[z, 1]):
            if t[k] > most[k]:
                most[k], act[k] = t[k], now.act
            if t[k] > warm and b.g[INVERSE, k] > 0.0:
                if t[k] > limit:
                    b.dose[LONG, k] += dt
                b.dose[MINUTES, k] += dt / 60.0 * dose_rate(t[k] + s.body)


@njit
def along_canal(b, m, s, log, now):
    """Deepest soft row, temperature at the end of the filling, cooling beneath the plugger."""
    rows = len(m.axis)
    act = log.acts[now.act]
    soft, hottest = np.zeros(rows), np.zeros(rows)
    row_sums(b, m, s, rows, soft, hottest)
    front, found = now.top, False
    for j in range(now.top):
        if hottest[j] > -UNSET:
            if not found:
                act[APICAL] = max(act[APICAL], b.y[Y0, m.axis[j]] + s.body)
                found = True
            if soft[j] >= 0.0:
                front = j
                break
    now.front = front
    act[FRONT] = min(act[FRONT], front)
    if now.watched >= 0 and log.acts[now.watched, COOLED] >= UNSET:
        warm = -UNSET
        for j in range(max(0, now.top - now.near), now.top):
            warm = max(warm, hottest[j])
        if warm < s.freeze_low:
            log.acts[now.watched, COOLED] = now.time - now.watched_since
