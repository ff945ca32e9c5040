# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""Kernels: the acts of a protocol, one after the other."""

from canalwright.heat.kernel_base import njit
from canalwright.heat.kernel_cells import set_rows, set_surface
from canalwright.heat.kernel_log import energy, frame, surface
from canalwright.heat.kernel_march import march
from canalwright.heat.kernel_matter import clear, fill_row, insert, press_down, row_of, shape, withdraw
from canalwright.heat.kernel_phase import molten_on_cooling, molten_on_heating
from canalwright.heat.layout import (
    ACTIVE,
    BEFORE,
    BEGIN,
    BITE,
    CONTENT,
    EMPTY,
    END,
    FILLED,
    GROSS,
    HEAT,
    INJECT,
    KIND,
    LEVEL,
    MATTER,
    MOTION,
    PLACE,
    PRESS,
    REST,
    SEALER,
    SEAR,
    STORED,
    TEMPERATURE,
    TOOL,
    TOP,
)  # fmt: skip

AFTER_SWITCH = 0.01


@njit
def run(g, s, c, p, program, log, state):
    """All acts of `program`, (acts, 9); `state`: one record NOW."""
    now = state[0]
    for j in range(g.nz):
        log.row[REST, j] = log.row[BEFORE, j] = surface(g, c, j)
    at_start = energy(g, c, now)
    frame(g, s, c, p, log, now)
    for a in range(len(program)):
        act = program[a]
        if act[BEGIN] >= now.until:
            break
        now.act, now.act_end = a, min(act[END], now.until)
        if now.tool >= 0 and act[KIND] != BITE:
            take_out(g, s, c, p, log, now)
        if act[KIND] == HEAT or act[KIND] == INJECT:
            now.watched = -1
        elif act[KIND] == PRESS:
            now.watched, now.watched_since = a, act[BEGIN]
        if act[KIND] == PLACE:
            place(g, s, c, log, now, act[LEVEL])
        elif act[KIND] == INJECT:
            inject(g, s, c, p, log, now, act)
        elif act[KIND] == BITE:
            bite(g, s, c, p, log, now, act)
        elif act[KIND] == SEAR or act[KIND] == HEAT or act[KIND] == PRESS:
            use(g, s, c, p, log, now, act)
        go(g, s, c, p, log, now, act[END])
    if now.tool >= 0:
        take_out(g, s, c, p, log, now)
    now.act_end = now.until
    go(g, s, c, p, log, now, now.until)
    log.book[STORED] = energy(g, c, now) - at_start


@njit
def start(g, s, c):
    """Conductances of all cells at the start."""
    set_rows(g, s, c, 0, g.nz, g.nr)
    set_surface(g, s, c)


@njit
def go(g, s, c, p, log, now, end):
    """March to `end` after a switch."""
    now.end = min(end, now.until)
    if now.end - now.time > 1e-9:
        now.step = min(now.step, AFTER_SWITCH)
        march(g, s, c, p, log, now)


@njit
def use(g, s, c, p, log, now, act):
    """Sear, heat or press: bring the instrument in, move it to its stop, and hold it there."""
    level, before = row_of(g, act[LEVEL]), energy(g, c, now)
    if act[KIND] == SEAR:
        clear(g, s, c, p, now, level)
    begin = max(now.top, level)
    insert(g, s, c, p, now, int(act[TOOL]), begin)
    note(g, c, log, now, before)
    now.on, now.target = 1, act[TEMPERATURE] + s.offset - s.body
    if act[KIND] == PRESS:
        now.on = 0
    plunge(g, s, c, p, log, now, begin - level, act[MOTION])
    if act[KIND] == HEAT:
        go(g, s, c, p, log, now, act[BEGIN] + act[ACTIVE])
        now.on = 0
    go(g, s, c, p, log, now, act[END])
    if act[KIND] != HEAT:
        take_out(g, s, c, p, log, now)


@njit
def bite(g, s, c, p, log, now, act):
    """A last burst of heat, then the carrier comes out with the gutta-percha above the level."""
    if now.tool >= 0 and act[MOTION] > 0.0:
        now.on, now.target = 1, act[TEMPERATURE] + s.offset - s.body
        go(g, s, c, p, log, now, act[BEGIN] + act[MOTION])
    before, level = energy(g, c, now), row_of(g, act[LEVEL])
    if now.tool >= 0:
        withdraw(g, s, c, p, now, level)
    else:
        clear(g, s, c, p, now, level)
    note(g, c, log, now, before)


@njit
def take_out(g, s, c, p, log, now):
    """Take the instrument out; the gutta-percha closes behind it."""
    before = energy(g, c, now)
    withdraw(g, s, c, p, now, g.last)
    note(g, c, log, now, before)


@njit
def note(g, c, log, now, before):
    """Note the heat that came or went with matter."""
    change = energy(g, c, now) - before
    log.book[MATTER] += change
    log.book[GROSS] += abs(change)


@njit
def plunge(g, s, c, p, log, now, rows, seconds):
    """Move the instrument `rows` rows down in `seconds`, in hops."""
    begin, done, cold = now.time, 0, p.power[now.tool, 0] == 0.0
    now.step = min(now.step, AFTER_SWITCH)
    while done < rows:
        hop = 1 if cold else min(now.hop, rows - done)
        now.end = min(begin + seconds * (done + 0.5 * hop) / rows, now.until)
        if now.end - now.time > 1e-9:
            march(g, s, c, p, log, now)
        before = energy(g, c, now)
        if cold:
            press_down(g, s, c, now)
        now.tip -= hop
        if cold:
            now.top = min(now.top, now.tip)
        shape(g, s, c, p, now, now.tip)
        note(g, c, log, now, before)
        done += hop
    now.end = min(begin + seconds, now.until)
    if now.end - now.time > 1e-9:
        march(g, s, c, p, log, now)


@njit
def place(g, s, c, log, now, tip):
    """Cone and sealer at room temperature: gutta-percha above `tip`, sealer beneath."""
    before, edge = energy(g, c, now), g.first + round(tip / g.step)
    for j in range(g.first, g.last):
        c.mark[CONTENT, j] = FILLED if j >= edge else SEALER
        fill_row(g, s, c, j, s.room, 0.0)
    now.top = g.last
    note(g, c, log, now, before)


@njit
def inject(g, s, c, p, log, now, act):
    """Gutta-percha arrives hot, in hops, from the bottom of the portion (what is filled stays) to its top."""
    begin, bottom, top = now.time, row_of(g, act[LEVEL]), row_of(g, act[TOP])
    t, rows, done = act[TEMPERATURE] - s.body, top - bottom, 0
    molten = max(molten_on_heating(s, t), molten_on_cooling(s, t))
    now.step = min(now.step, AFTER_SWITCH)
    while done < rows:
        now.end = min(begin + (act[END] - act[BEGIN]) * done / rows, now.until)
        if now.end - now.time > 1e-9:
            march(g, s, c, p, log, now)
        before, hop = energy(g, c, now), min(2 * now.hop, rows - done)
        for j in range(bottom + done, bottom + done + hop):
            if c.mark[CONTENT, j] == EMPTY:
                c.mark[CONTENT, j] = FILLED
                fill_row(g, s, c, j, t, molten)
                now.top = max(now.top, j + 1)
        note(g, c, log, now, before)
        done += hop
