# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""Kernels: the acts of a protocol, one after the other.

Matter that comes or goes (bite, portions, instruments, gutta-percha pressed aside) changes cells between time steps;
cells
keep their temperature and molten fraction, new matter mixes in by enthalpy, and the book notes what came with it.
"""

import math

from canalwright.heat.kernel_cells import njit, set_rows, set_surface
from canalwright.heat.kernel_march import energy, frame, front_of, march, put, soft, surface
from canalwright.heat.kernel_phase import molten_on_cooling, molten_on_heating
from canalwright.heat.layout import BITE, EMPTY, FILLED, HEAT, INJECT, PLACE, PRESS, SEALER, SEAR

AFTER_SWITCH = 0.004


@njit
def run(g, s, c, p, program, log, control, now, left):
    """All acts. `program`: (acts, 9), see `canalwright.heat.program`; `left`: (tools,) when each tool was last used."""
    tool = -1
    at_start = energy(g, c, -1) if control.audit else 0.0
    for j in range(g.nz):
        log.rest[j] = log.before[j] = surface(g, c, j)
    if control.frames > 0:
        frame(g, s, c, p, log, control, now, -1, g.last, int(now[4]), front_of(g, s, c, int(now[4])))
    for a in range(len(program)):
        act = program[a]
        kind, begin, end = int(act[0]), act[1], act[2]
        if begin >= control.until:
            break
        now[6], now[9] = a, min(end, control.until)
        if tool >= 0 and kind != BITE:
            tool = withdraw(g, s, c, p, log, control, now, left, tool, -1)
        if kind == PLACE:
            place(g, s, c, log, control, now, act[4])
        elif kind == SEAR:
            clear(g, s, c, p, log, control, now, row_of(g, act[4]))
            tool = insert(g, s, c, p, log, control, now, left, int(act[3]), row_of(g, act[4]))
            go(g, s, c, p, log, control, now, end, tool, True, act[5] + s.offset)
            tool = withdraw(g, s, c, p, log, control, now, left, tool, -1)
        elif kind == HEAT:
            now[7] = -1
            start = max(int(now[4]), row_of(g, act[4]))
            tool = insert(g, s, c, p, log, control, now, left, int(act[3]), start)
            target = act[5] + s.offset
            plunge(g, s, c, p, log, control, now, tool, start, row_of(g, act[4]), act[6], True, target)
            go(g, s, c, p, log, control, now, begin + act[7], tool, True, target)
            go(g, s, c, p, log, control, now, end, tool, False, target)
        elif kind == BITE:
            if tool >= 0 and act[6] > 0.0:
                go(g, s, c, p, log, control, now, begin + act[6], tool, True, act[5] + s.offset)
            if tool >= 0:
                tool = withdraw(g, s, c, p, log, control, now, left, tool, row_of(g, act[4]))
            else:
                clear(g, s, c, p, log, control, now, row_of(g, act[4]))
        elif kind == PRESS:
            now[7], now[8] = a, begin
            start = max(int(now[4]), row_of(g, act[4]))
            tool = insert(g, s, c, p, log, control, now, left, int(act[3]), start)
            plunge(g, s, c, p, log, control, now, tool, start, row_of(g, act[4]), act[6], False, 0.0)
            go(g, s, c, p, log, control, now, end, tool, False, 0.0)
            tool = withdraw(g, s, c, p, log, control, now, left, tool, -1)
        elif kind == INJECT:
            now[7] = -1
            inject(g, s, c, p, log, control, now, row_of(g, act[4]), row_of(g, act[8]), act[5] - s.body, end - begin)
        go(g, s, c, p, log, control, now, end, tool, False, 0.0)
    if tool >= 0:
        tool = withdraw(g, s, c, p, log, control, now, left, tool, -1)
    now[9] = control.until
    go(g, s, c, p, log, control, now, control.until, -1, False, 0.0)
    if control.audit:
        log.book[8] = energy(g, c, -1) - at_start


@njit
def row_of(g, z):
    """First row above level z, within the canal."""
    return min(max(g.first + math.floor(z / g.step + 0.5), g.first + 1), g.last)


@njit
def go(g, s, c, p, log, control, now, end, tool, on, target):
    """March to `end` after a switch."""
    now[1] = min(end, control.until)
    if now[1] - now[0] > 1e-9:
        now[2] = min(now[2], AFTER_SWITCH)
        march(g, s, c, p, log, control, now, tool, on, target)


@njit
def book_matter(g, c, log, control, before, tool):
    """Note the heat that came or went with matter."""
    if control.audit:
        change = energy(g, c, tool) - before
        log.book[6] += change
        log.book[7] += abs(change)


@njit
def plunge(g, s, c, p, log, control, now, tool, start, stop, seconds, on, target):
    """Move the instrument down from row `start` to row `stop` in `seconds`, row by row."""
    rows = start - stop
    begin = now[0]
    now[2] = min(now[2], AFTER_SWITCH)
    for m in range(rows):
        now[1] = min(begin + seconds * (m + 0.5) / rows, control.until)
        if now[1] - now[0] > 1e-9:
            march(g, s, c, p, log, control, now, tool, on, target)
        before = energy(g, c, tool) if control.audit else 0.0
        if p.power[tool] == 0.0:
            press_down(g, s, c, now, int(now[4]))
        now[3] -= 1
        now[4] = min(now[4], now[3]) if p.power[tool] == 0.0 else now[4]
        shape(g, s, c, p, tool, int(now[3]), int(now[3]))
        book_matter(g, c, log, control, before, tool)
    now[1] = min(begin + seconds, control.until)
    if now[1] - now[0] > 1e-9:
        march(g, s, c, p, log, control, now, tool, on, target)


@njit
def shape(g, s, c, p, tool, tip, low):
    """Lay the instrument's profile into the rows from `low` up; uncovered cells take the temperature beside them."""
    for j in range(low, g.last):
        radius = 0.0
        if tool >= 0 and j >= tip and j - tip < g.nodes:
            radius = min(p.radius[tool, j - tip], 0.98 * g.bore[j])
        was = c.covered[j]
        c.shaft[j] = radius
        if radius == 0.0 and was > 0:
            beside = j * g.nr + was
            for k in range(j * g.nr, beside):
                c.t[k], c.melt[k] = c.t[beside], c.melt[beside]
    set_rows(g, s, c, low, g.last, g.inner)
    for j in range(low, g.last):
        for i in range(c.covered[j]):
            c.t[j * g.nr + i] = c.t[g.nr * g.nz + j - tip]
        for k in range(j * g.nr + c.covered[j], j * g.nr + g.inner):
            if c.latent[k] == 0.0:
                c.melt[k] = 0.0


@njit
def insert(g, s, c, p, log, control, now, left, tool, tip):
    """Bring an instrument in, its tip in row `tip`; it has drifted to the room's temperature since its last use."""
    n = g.nr * g.nz
    before = energy(g, c, -1) if control.audit else 0.0
    rest = s.room if p.power[tool] > 0.0 else s.plugger
    for k in range(g.nodes):
        r = p.radius[tool, k]
        c.capacity[n + k] = math.pi * r * r * g.step * s.c_steel
        c.inverse[n + k] = 1.0 / c.capacity[n + k]
        last = p.last[tool, k]
        fade = math.exp(-(now[0] - left[tool]) * 2.0 * s.top_film / (r * s.c_steel)) if left[tool] >= 0.0 else 0.0
        c.t[n + k] = rest + (last - rest) * fade
        if k + 1 < g.nodes:
            c.rod[k] = s.k_steel * math.pi * r * p.radius[tool, k + 1] / g.step
    now[3] = tip
    if p.power[tool] == 0.0:
        now[4] = min(now[4], float(tip))
    shape(g, s, c, p, tool, tip, min(tip, g.last - 1))
    book_matter(g, c, log, control, before, tool)
    return tool


@njit
def withdraw(g, s, c, p, log, control, now, left, tool, level):
    """Take the instrument out, and with it the gutta-percha above row `level` (-1: none)."""
    n, tip = g.nr * g.nz, int(now[3])
    before = energy(g, c, tool) if control.audit else 0.0
    left[tool] = now[0]
    for k in range(g.nodes):
        p.last[tool, k] = c.t[n + k]
    if level >= 0:
        empty_above(g, c, now, level)
    shape(g, s, c, p, -1, g.last, min(tip, level if level >= 0 else tip, g.last - 1))
    now[3] = g.last
    book_matter(g, c, log, control, before, -1)
    return -1


@njit
def empty_above(g, c, now, level):
    """Rows from `level` up become empty canal (their conductances are set by the caller)."""
    for j in range(level, g.last):
        c.content[j] = EMPTY
    now[4] = min(now[4], float(level))


@njit
def clear(g, s, c, p, log, control, now, level):
    """Gutta-percha above row `level` is gone."""
    before = energy(g, c, -1) if control.audit else 0.0
    empty_above(g, c, now, level)
    shape(g, s, c, p, -1, g.last, min(level, g.last - 1))
    book_matter(g, c, log, control, before, -1)


@njit
def fill_row(g, s, c, j, kind, t, molten):
    """New matter at temperature `t` in row j: it mixes with the dentine that shares its cells, by enthalpy."""
    c.content[j] = kind
    set_rows(g, s, c, j, j + 1, g.inner)
    for k in range(j * g.nr, j * g.nr + g.inner):
        if c.capacity[k] > 0.0 and c.share[k] > 0.0:
            u = (1.0 - c.share[k]) * c.t[k] + c.share[k] * t + c.latent[k] * molten
            put(s, c, k, u, molten)


@njit
def place(g, s, c, log, control, now, tip):
    """Cone and sealer at room temperature: gutta-percha above `tip`, sealer beneath."""
    before = energy(g, c, -1) if control.audit else 0.0
    edge = g.first + math.floor(tip / g.step + 0.5)
    for j in range(g.first, g.last):
        fill_row(g, s, c, j, FILLED if j >= edge else SEALER, s.room, 0.0)
    now[4] = g.last
    book_matter(g, c, log, control, before, -1)


@njit
def inject(g, s, c, p, log, control, now, bottom, top, t, seconds):
    """Gutta-percha arrives at temperature `t`, row by row, from `bottom` (what is filled stays) to `top`."""
    begin, rows = now[0], top - bottom
    molten = max(molten_on_heating(s, t), molten_on_cooling(s, t))
    now[2] = min(now[2], AFTER_SWITCH)
    for m in range(rows):
        now[1] = min(begin + seconds * m / rows, control.until)
        if now[1] - now[0] > 1e-9:
            march(g, s, c, p, log, control, now, -1, False, 0.0)
        j = bottom + m
        if c.content[j] == EMPTY:
            before = energy(g, c, -1) if control.audit else 0.0
            fill_row(g, s, c, j, FILLED, t, molten)
            book_matter(g, c, log, control, before, -1)
            now[4] = max(now[4], float(j + 1))
            now[2] = min(now[2], AFTER_SWITCH)


@njit
def press_down(g, s, c, now, top):
    """The soft column between front and plugger shortens by one row: its temperatures move down in proportion.

    The volume of one row is pressed aside into gaps and portals, and its heat with it.
    """
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
                if c.share[k] > 0.99 and c.share[ka] > 0.99 and c.share[kb] > 0.99:
                    c.t[k] = (1.0 - w) * c.t[ka] + w * c.t[kb]
                    c.melt[k] = (1.0 - w) * c.melt[ka] + w * c.melt[kb]
    if top - 1 >= g.first:
        c.content[top - 1] = EMPTY


@njit
def start(g, s, c):
    """Conductances of all cells at the start."""
    set_rows(g, s, c, 0, g.nz, g.nr)
    set_surface(g, s, c)
