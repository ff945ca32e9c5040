# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""Kernels: short lists of the cells that want more than the plain loop over all cells.

Where an instrument touches the canal, which cells it covers, and which hold gutta-percha warm enough to melt or freeze: made once for a
march (or a step), so that the stages of a step run over them without looking.
"""

import math

from canalwright.heat.kernel_base import njit
from canalwright.heat.layout import (
    AXIAL,
    CELL,
    COVERED,
    COVERS,
    INVERSE,
    LATENT,
    MELT,
    NODE,
    RADIAL,
    SLOPE_FREEZE,
    SLOPE_HIGH,
    SLOPE_LOW,
    WARM,
    WARM_LATENT,
    WARM_MOLTEN,
    WARM_T,
    WARM_U,
)  # fmt: skip


@njit
def list_instrument(g, s, c, p, now):
    """Cells that exchange heat with the instrument in use, cells that it covers, and its films above the canal."""
    links = covers = 0
    nr, tool, tip = g.nr, now.tool, now.tip
    if tool >= 0:
        for k in range(g.nodes):
            c.start[k], c.film[k] = links, 0.0
            for m in range(k * g.span, (k + 1) * g.span):
                j = tip + m
                if j >= g.last:
                    c.film[k] += s.top_film * 2.0 * math.pi * p.radius[tool, m] * g.step
                    continue
                at, covered = j * nr, c.mark[COVERED, j]
                c.link[links], c.pull[links] = at + covered, c.field[RADIAL, at + covered - 1]
                links += 1
                for i in range(covered):
                    c.cover[CELL, covers], c.cover[NODE, covers] = at + i, k
                    covers += 1
                    if c.field[AXIAL, at - nr + i] != 0.0:
                        c.link[links], c.pull[links] = at - nr + i, c.field[AXIAL, at - nr + i]
                        links += 1
        c.start[g.nodes] = links
    c.count[COVERS] = covers


@njit
def rod_rate(g, c, now):
    """Gershgorin bound of the fastest rate of the instrument's nodes."""
    n, worst = g.nr * g.nz, 0.0
    if now.tool < 0:
        return worst
    for k in range(g.nodes):
        total = c.rod[k] + c.rod[k + 1]
        for m in range(c.start[k], c.start[k + 1]):
            total += c.pull[m]
        worst = max(worst, 2.0 * total * c.field[INVERSE, n + k])
    return worst


@njit
def list_warm(g, s, c, low, high):
    """Cells of the rows low..high - 1 that may melt or freeze, and the slopes of their curves."""
    count = 0
    w1, w2, w = s.melt_mid_low - s.melt_low, s.melt_high - s.melt_mid_high, s.freeze_high - s.freeze_low
    for j in range(low, high):
        for k in range(j * g.nr, j * g.nr + g.inner):
            latent = c.field[LATENT, k]
            if latent > 0.0:
                c.warm[count] = k
                c.melt[WARM_LATENT, count] = latent
                c.melt[WARM_MOLTEN, count] = latent * c.field[MELT, k]
                c.melt[SLOPE_LOW, count] = w1 / (w1 + latent * s.melt_share)
                c.melt[SLOPE_HIGH, count] = w2 / (w2 + latent * (1.0 - s.melt_share))
                c.melt[SLOPE_FREEZE, count] = w / (w + latent)
                count += 1
    c.count[WARM] = count


@njit
def melt(s, count, latent, molten, low, high, freeze, u, t):
    """Temperatures of the first `count` listed cells: `kernel_phase.temperature` with its slopes at hand."""
    w1, w2, w = s.melt_mid_low - s.melt_low, s.melt_high - s.melt_mid_high, s.freeze_high - s.freeze_low
    gap = s.melt_mid_high - s.melt_mid_low
    for k in range(count):
        x1, x3 = w1 + latent[k] * s.melt_share, w2 + latent[k] * (1.0 - s.melt_share)
        rest = u[k] - s.melt_low
        heating = (
            s.melt_low
            + min(rest, 0.0)
            + min(max(rest, 0.0), x1) * low[k]
            + min(max(rest - x1, 0.0), gap)
            + min(max(rest - x1 - gap, 0.0), x3) * high[k]
            + max(rest - x1 - gap - x3, 0.0)
        )
        x = w + latent[k]
        rest = u[k] - s.freeze_low
        cooling = s.freeze_low + min(rest, 0.0) + min(max(rest, 0.0), x) * freeze[k] + max(rest - x, 0.0)
        t[k] = max(min(u[k] - molten[k], heating), cooling)


@njit
def settle(g, s, c, now, u, t):
    """Temperatures `t` from enthalpies `u`: listed gutta-percha by its curve, covered cells from the instrument."""
    n, count = g.nr * g.nz, c.count[WARM]
    for k in range(len(u)):
        t[k] = u[k]
    if count > 0:
        warm, own, felt = c.warm, c.melt[WARM_U], c.melt[WARM_T]
        for m in range(count):
            own[m] = u[warm[m]]
        melt(
            s, count, c.melt[WARM_LATENT], c.melt[WARM_MOLTEN], c.melt[SLOPE_LOW], c.melt[SLOPE_HIGH], c.melt[SLOPE_FREEZE], own, felt
        )  # fmt: skip
        for m in range(count):
            t[warm[m]] = felt[m]
    if now.tool >= 0:
        cells, nodes, node = c.cover[CELL], c.cover[NODE], u[n:]
        for m in range(c.count[COVERS]):
            t[cells[m]] = node[nodes[m]]


@njit
def take_molten(c, u, t):
    """New molten fractions of the listed cells after a step."""
    for m in range(c.count[WARM]):
        k = c.warm[m]
        molten = min(max((u[k] - t[k]) / c.field[LATENT, k], 0.0), 1.0)
        c.field[MELT, k] = molten
        c.melt[WARM_MOLTEN, m] = c.melt[WARM_LATENT, m] * molten
