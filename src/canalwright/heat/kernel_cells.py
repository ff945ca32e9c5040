# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""Kernels: what is in each cell, and how well neighbours conduct.

Layers meet the grid where they please. Radial conductance between two nodes is the exact series of the layers and films
between them, 2 pi dz / (sum ln(r2 / r1) / k + sum R / r); capacity and axial conductance add up over the layers of
a cell by area. An instrument covers the inner columns: those cells take its temperature.
"""

import math

from canalwright.heat.kernel_base import njit
from canalwright.heat.layout import (
    AREA,
    AXIAL,
    BLOOD,
    BORE,
    CAPACITY,
    CONTENT,
    COVERED,
    EDGE,
    EMPTY,
    FILLED,
    HEIGHT,
    INVERSE,
    LATENT,
    LIGAMENT,
    RADIAL,
    RATE,
    ROOT,
    SHAFT,
    SHARE,
    SPREAD,
    WEIGHT,
)  # fmt: skip

LEAST_SHARE = 0.6
"""A cell that the instrument (or the outside) leaves less of goes with it, lest the time step suffer."""


@njit
def content_of(s, kind):
    """Conductivity and capacity of what the canal holds."""
    if kind == FILLED:
        return s.k_gp, s.c_gp
    if kind == EMPTY:
        return s.k_air, s.c_air
    return s.k_sealer, s.c_sealer


@njit
def path(g, s, j, kind, shaft, r0, r1):
    """Resistance between radii r0 < r1 of row j, times 2 pi dz: layers and the films at the radii that it crosses.

    The far side of a film to air or bath holds its temperature, so that the path ends there.
    """
    k_in, _ = content_of(s, kind)
    bore, root, lig = g.row[BORE, j], g.row[ROOT, j], g.row[LIGAMENT, j]
    total = 0.0
    if shaft > 0.0 and r0 <= shaft:
        r0 = shaft
        if kind != EMPTY:
            total += 1.0 / (s.contact * shaft) if s.contact > 0.0 else 1e30
    if r0 < bore:
        top = min(r1, bore)
        if top > r0:
            total += math.log(top / r0) / k_in
        if r1 > bore and kind != EMPTY:
            total += s.film / bore
    if r0 < root and r1 > bore:
        low, top = max(r0, bore), min(r1, root)
        if top > low:
            total += math.log(top / low) / s.k_dentine
        if r1 > root and s.outer_film >= 0.0:
            return total + (1.0 / (s.outer_film * root) if s.outer_film > 0.0 else 1e30)
    if s.outer_film >= 0.0:
        return total
    if r0 < lig and r1 > root:
        low, top = max(r0, root), min(r1, lig)
        if top > low:
            total += math.log(top / low) / s.k_ligament
    if r1 > lig:
        total += math.log(r1 / max(r0, lig)) / s.k_bone
    return total


@njit
def ring(low, high, inner, outer):
    """Area of the ring low..high inside the layer inner..outer."""
    a, b = max(low, inner), min(high, outer)
    return math.pi * (b * b - a * a) if b > a else 0.0


@njit
def set_row(g, s, c, j, columns):
    """Fill capacity, latent heat, perfusion and radial conductance of the first `columns` cells of row j."""
    nr, kind, shaft = g.nr, c.mark[CONTENT, j], c.row[SHAFT, j]
    k_in, c_in = content_of(s, kind)
    bore, root, lig, dz = g.row[BORE, j], g.row[ROOT, j], g.row[LIGAMENT, j], g.row[HEIGHT, j]
    covered = 0
    if shaft > 0.0:
        covered = 1
        while g.column[0, covered + 1] <= shaft or (
            g.column[0, covered] < shaft
            and ring(shaft, g.column[0, covered + 1], 0.0, 1e9)
            < LEAST_SHARE * ring(g.column[0, covered], g.column[0, covered + 1], 0.0, 1e9)
        ):
            covered += 1
    c.mark[COVERED, j] = covered
    held = nr - 1
    if s.outer_film >= 0.0:
        held = 0
        while held < nr - 1 and ring(g.column[0, held], g.column[0, held + 1], 0.0, root) >= LEAST_SHARE * ring(
            g.column[0, held], g.column[0, held + 1], 0.0, 1e9
        ):
            held += 1
    border = j == 0 or j == g.nz - 1
    for i in range(columns):
        at = j * nr + i
        low, high = g.column[0, i], g.column[0, i + 1]
        c.field[CAPACITY, at] = c.field[INVERSE, at] = c.field[LATENT, at] = c.field[SHARE, at] = c.field[
            BLOOD, at
        ] = c.field[SPREAD, at] = c.field[AREA, at] = 0.0
        if i < covered:
            c.field[RADIAL, at] = 0.0
            continue
        if i >= held or border:
            c.field[RADIAL, at] = 0.0
            c.field[SPREAD, at] = math.pi * (high * high - low * low) * s.k_bone
            continue
        if i == covered and shaft > 0.0:
            low = shaft
        if i == held - 1 and s.outer_film >= 0.0:
            high = root
        inside, dentine = ring(low, high, 0.0, bore), ring(low, high, bore, root)
        capacity = inside * c_in + dentine * s.c_dentine
        spread = inside * k_in + dentine * s.k_dentine
        if s.outer_film < 0.0:
            ligament, bone = ring(low, high, root, lig), ring(low, high, lig, 1e9)
            capacity += ligament * s.c_ligament + bone * s.c_bone
            spread += ligament * s.k_ligament + bone * s.k_bone
            c.field[BLOOD, at] = (ligament * s.w_ligament + bone * s.w_bone) * dz
        c.field[AREA, at] = math.pi * (high * high - low * low)
        c.field[SPREAD, at] = spread
        c.field[CAPACITY, at] = capacity * dz
        c.field[INVERSE, at] = 1.0 / (capacity * dz)
        c.field[SHARE, at] = inside * c_in / capacity
        if kind == FILLED:
            c.field[LATENT, at] = inside * s.latent / capacity
        node = node_of(g, c, j, i)
        if i == covered and covered > 0:
            c.field[RADIAL, at - 1] = 2.0 * math.pi * dz / path(g, s, j, kind, shaft, shaft, node)
        beyond = node_of(g, c, j, i + 1) if i + 1 < held else max(g.column[1, i + 1], root * 1.0001)
        c.field[RADIAL, at] = 2.0 * math.pi * dz / path(g, s, j, kind, 0.0, node, beyond)


@njit
def node_of(g, c, j, i):
    """Radius at which a cell has its mean temperature; that of a cell cut by the instrument moves outwards."""
    if i == c.mark[COVERED, j] and c.row[SHAFT, j] > 0.0:
        return math.sqrt((c.row[SHAFT, j] ** 2 + g.column[0, i + 1] ** 2) / 2)
    return g.column[1, i]


@njit
def set_axial(g, s, c, j, columns):
    """Conductance of the first `columns` cells of row j to row j + 1."""
    nr = g.nr
    cover = 0.0
    for i in range(c.mark[COVERED, j], c.mark[COVERED, j + 1]):
        cover += math.pi * (g.column[0, i + 1] ** 2 - g.column[0, i] ** 2)
    print_area = math.pi * (c.row[SHAFT, j + 1] ** 2 - c.row[SHAFT, j] ** 2)
    for i in range(columns):
        at = j * nr + i
        up = at + nr
        below, above = c.field[CAPACITY, at] > 0.0, c.field[CAPACITY, up] > 0.0
        half = g.row[HEIGHT, j] / 2
        c.field[AXIAL, at] = 0.0
        if i < c.mark[COVERED, j]:
            continue
        if i < c.mark[COVERED, j + 1]:
            if below and c.field[SPREAD, at] > 0.0:
                area = math.pi * (g.column[0, i + 1] ** 2 - g.column[0, i] ** 2)
                touch = area * max(print_area, 0.0) / cover
                film = 1.0 / s.contact if s.contact > 0.0 else 1e30
                if c.mark[CONTENT, j] == EMPTY:
                    film = 0.0
                c.field[AXIAL, at] = touch / (film + half * area / c.field[SPREAD, at])
        elif below and above:
            c.field[AXIAL, at] = 1.0 / (half / c.field[SPREAD, at] + g.row[HEIGHT, j + 1] / 2 / c.field[SPREAD, up])
        elif below and j + 1 == g.nz - 1:
            film = top_film_of(g, s, j, i)
            if film > 0.0:
                c.field[AXIAL, at] = 1.0 / (half / c.field[SPREAD, at] + 1.0 / (film * c.field[AREA, at]))
        elif below and not above and s.outer_film > 0.0:
            c.field[AXIAL, at] = 1.0 / (half / c.field[SPREAD, at] + 1.0 / (s.outer_film * c.field[AREA, at]))
        elif above and not below:
            if s.outer_film > 0.0:
                c.field[AXIAL, at] = 1.0 / (
                    g.row[HEIGHT, j + 1] / 2 / c.field[SPREAD, up] + 1.0 / (s.outer_film * c.field[AREA, up])
                )
            elif s.outer_film < 0.0 and j == 0:
                c.field[AXIAL, at] = c.field[SPREAD, up] / (g.row[HEIGHT, j + 1] / 2)


@njit
def top_film_of(g, s, j, i):
    """Film at the top: over root and filling; tissue beside the root is closed unless the grid says otherwise."""
    return s.top_film if s.open_top > 0.0 or g.column[1, i] < g.row[ROOT, j] else 0.0


@njit
def set_rate(g, c, j):
    """Gershgorin bound of the fastest rate in row j."""
    nr, worst = g.nr, 0.0
    if j == 0 or j == g.nz - 1:
        return
    for i in range(nr - 1):
        at = j * nr + i
        if c.field[INVERSE, at] > 0.0:
            total = c.field[RADIAL, at] + c.field[AXIAL, at] + c.field[AXIAL, at - nr]
            if i > 0:
                total += c.field[RADIAL, at - 1]
            worst = max(worst, (2.0 * total + c.field[BLOOD, at]) * c.field[INVERSE, at])
    c.row[RATE, j] = worst


@njit
def set_rows(g, s, c, low, high, columns):
    """Rows low..high - 1 anew, with the axial conductance on both sides."""
    for j in range(low, high):
        set_row(g, s, c, j, columns)
    for j in range(max(low - 1, 0), min(high, g.nz - 1)):
        set_axial(g, s, c, j, columns)
    for j in range(max(low - 1, 0), min(high + 1, g.nz)):
        set_rate(g, c, j)


@njit
def set_surface(g, s, c):
    """Where the root surface lies between two nodes, and the weight of the inner one."""
    for j in range(g.nz):
        c.mark[EDGE, j], c.row[WEIGHT, j] = 0, 0.0
        root = g.row[ROOT, j]
        if root <= 0.0:
            c.row[WEIGHT, j] = 1.0
            continue
        i = 0
        while i + 2 < g.nr and g.column[1, i + 1] <= root:
            i += 1
        if s.outer_film >= 0.0:
            while i > 0 and c.field[CAPACITY, j * g.nr + i] == 0.0:
                i -= 1
        outside = max(g.column[1, i + 1], root * 1.0001)
        inner = path(g, s, j, c.mark[CONTENT, j], 0.0, g.column[1, i], root)
        outer = path(g, s, j, c.mark[CONTENT, j], 0.0, g.column[1, i], outside) - inner
        c.mark[EDGE, j] = i
        c.row[WEIGHT, j] = outer / (inner + outer)
