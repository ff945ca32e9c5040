# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""Kernel: the reference problem with a carrier of given temperature."""

from canalwright.heat.kernel_base import njit
from canalwright.heat.kernel_log import surface
from canalwright.heat.kernel_march import march
from canalwright.heat.kernel_matter import insert, shape
from canalwright.heat.layout import INVERSE


@njit
def reference(g, s, c, p, log, state, marks, seconds, tip, hot, out_surface, out_axis):
    """Hold the carrier at `hot` for `seconds`, insulate it then; write surface and axis (extrapolated to r = 0) at `marks`."""
    now, n = state[0], g.nr * g.nz
    insert(g, s, c, p, now, 0, tip)
    for k in range(g.nodes):
        c.field[INVERSE, n + k], c.t[n + k] = 0.0, hot
    shape(g, s, c, p, now, tip)
    r0, r1 = g.column[1, 0] ** 2, g.column[1, 1] ** 2
    for m in range(len(marks)):
        now.end = marks[m]
        march(g, s, c, p, log, now)
        for j in range(g.nz):
            at = j * g.nr
            out_surface[m, j] = surface(g, c, j)
            out_axis[m, j] = c.t[at] + (c.t[at] - c.t[at + 1]) * r0 / (r1 - r0)
        if abs(now.time - seconds) < 1e-9:
            s.contact, now.step = 0.0, 1e-3
            shape(g, s, c, p, now, tip)
