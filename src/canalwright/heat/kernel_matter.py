# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""Kernels: instruments and gutta-percha come, go and move.

Cells keep their temperature and molten fraction when their content changes; new matter mixes in by enthalpy. What an
instrument displaces leaves with the temperature that it had, and the gap that it leaves takes the temperature beside it.
"""

import math

from canalwright.heat.kernel_base import njit
from canalwright.heat.kernel_cells import set_rows
from canalwright.heat.kernel_log import soft
from canalwright.heat.kernel_phase import temperature
from canalwright.heat.layout import BORE, CAPACITY, CONTENT, COVERED, EMPTY, INVERSE, LATENT, MELT, SHAFT, SHARE

FIT = 0.98
"""An instrument never takes more of the canal's radius than this."""


@njit
def row_of(g, z):
    """First row above level z, within the canal."""
    return min(max(g.first + round(z / g.step), g.first + 1), g.last)


@njit
def shape(g, s, c, p, now, low):
    """Lay the profile of the instrument in use (none: tool -1) into the rows from `low` up."""
    n = g.nr * g.nz
    for j in range(low, g.last):
        radius, was = 0.0, c.mark[COVERED, j]
        if now.tool >= 0 and 0 <= j - now.tip < g.nodes * g.span:
            radius = min(p.radius[now.tool, j - now.tip], FIT * g.row[BORE, j])
        c.row[SHAFT, j] = radius
        if radius == 0.0 and was > 0:
            beside = j * g.nr + was
            for k in range(j * g.nr, beside):
                c.t[k], c.field[MELT, k] = c.t[beside], c.field[MELT, beside]
    set_rows(g, s, c, low, g.last, g.inner)
    for j in range(low, g.last):
        for i in range(c.mark[COVERED, j]):
            c.t[j * g.nr + i] = c.t[n + (j - now.tip) // g.span]
        for k in range(j * g.nr + c.mark[COVERED, j], j * g.nr + g.inner):
            if c.field[LATENT, k] == 0.0:
                c.field[MELT, k] = 0.0


@njit
def insert(g, s, c, p, now, tool, tip):
    """Bring an instrument in, its tip in row `tip`; since its last use it has drifted to the room's temperature."""
    n = g.nr * g.nz
    rest = s.room if p.power[tool, 0] > 0.0 else s.plugger
    away = now.time - p.power[tool, 1]
    previous = 0.0
    for k in range(g.nodes):
        section = around = 0.0
        for m in range(k * g.span, (k + 1) * g.span):
            section += math.pi * p.radius[tool, m] ** 2 / g.span
            around += 2.0 * math.pi * p.radius[tool, m] / g.span
        length = g.step * g.span
        c.field[CAPACITY, n + k] = section * length * s.c_steel
        c.field[INVERSE, n + k] = 1.0 / c.field[CAPACITY, n + k]
        fade = math.exp(-away * s.top_film * around / (section * s.c_steel)) if p.power[tool, 1] >= 0.0 else 0.0
        c.t[n + k] = rest + (p.last[tool, k] - rest) * fade
        if k > 0:
            c.rod[k] = s.k_steel * math.sqrt(section * previous) / length
        previous = section
    now.tool, now.tip = tool, tip
    if p.power[tool, 0] == 0.0:
        now.top = min(now.top, tip)
    shape(g, s, c, p, now, min(tip, g.last - 1))


@njit
def withdraw(g, s, c, p, now, level):
    """Take the instrument out, and with it the gutta-percha from row `level` up (g.last: none)."""
    n, tip = g.nr * g.nz, now.tip
    p.power[now.tool, 1] = now.time
    for k in range(g.nodes):
        p.last[now.tool, k] = c.t[n + k]
    now.tool, now.tip, now.on = -1, g.last, 0
    empty_from(g, c, now, level)
    shape(g, s, c, p, now, min(tip, level, g.last - 1))


@njit
def clear(g, s, c, p, now, level):
    """Gutta-percha from row `level` up is gone."""
    empty_from(g, c, now, level)
    shape(g, s, c, p, now, min(level, g.last - 1))


@njit
def empty_from(g, c, now, level):
    """Rows from `level` up become empty canal (the caller sets their conductances)."""
    for j in range(level, g.last):
        c.mark[CONTENT, j] = EMPTY
    now.top = min(now.top, level)


@njit
def fill_row(g, s, c, j, t, molten):
    """New content of row j arrives at temperature `t`: it mixes with the dentine that shares its cells, by enthalpy."""
    set_rows(g, s, c, j, j + 1, g.inner)
    for k in range(j * g.nr, j * g.nr + g.inner):
        share, latent = c.field[SHARE, k], c.field[LATENT, k]
        if share > 0.0:
            u = (1.0 - share) * c.t[k] + share * t + latent * molten
            c.t[k] = temperature(s, u, latent, molten)
            c.field[MELT, k] = min(max((u - c.t[k]) / latent, 0.0), 1.0) if latent > 0.0 else 0.0


@njit
def press_down(g, s, c, now):
    """The soft column between front and plugger shortens by one row: its temperatures move down in proportion.

    The volume of one row is pressed aside into gaps and portals, and its heat with it.
    """
    top = now.top
    front = top
    while front > g.first + 1 and soft(g, s, c, front - 1):
        front -= 1
    rows = top - front
    if rows >= 2:
        for j in range(front, top - 1):
            x = front + (j + 0.5 - front) * rows / (rows - 1.0) - 0.5
            a = min(max(math.floor(x), front), top - 2)
            w = min(max(x - a, 0.0), 1.0)
            for i in range(g.inner):
                k, ka, kb = j * g.nr + i, a * g.nr + i, (a + 1) * g.nr + i
                if min(c.field[SHARE, k], c.field[SHARE, ka], c.field[SHARE, kb]) > 0.99:
                    c.t[k] = (1.0 - w) * c.t[ka] + w * c.t[kb]
                    c.field[MELT, k] = (1.0 - w) * c.field[MELT, ka] + w * c.field[MELT, kb]
    c.mark[CONTENT, top - 1] = EMPTY
