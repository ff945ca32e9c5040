# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""Kernels: what is in each cell, and how well neighbours conduct.

Layers meet the grid where they please. Radial conductance between two nodes is the exact series of the layers and films
between them, 2 pi dz / (sum ln(r2 / r1) / k + sum R / r); capacity and axial conductance add up over the layers of a
cell
by area. An instrument covers the inner columns: those cells take its temperature.
"""

import math

import numba

from canalwright.heat.layout import EMPTY, FILLED

njit = numba.njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract", "nsz", "arcp"})
LEAST_SHARE = 0.3


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
    bore, root, lig = g.bore[j], g.root[j], g.ligament[j]
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
    nr, kind, shaft = g.nr, c.content[j], c.shaft[j]
    k_in, c_in = content_of(s, kind)
    bore, root, lig, dz = g.bore[j], g.root[j], g.ligament[j], g.height[j]
    covered = 0
    if shaft > 0.0:
        covered = 1
        while g.face[covered + 1] <= shaft or (
            g.face[covered] < shaft
            and ring(shaft, g.face[covered + 1], 0.0, 1e9)
            < LEAST_SHARE * ring(g.face[covered], g.face[covered + 1], 0.0, 1e9)
        ):
            covered += 1
    c.covered[j] = covered
    held = nr - 1
    if s.outer_film >= 0.0:
        held = 0
        while held < nr - 1 and ring(g.face[held], g.face[held + 1], 0.0, root) >= LEAST_SHARE * ring(
            g.face[held], g.face[held + 1], 0.0, 1e9
        ):
            held += 1
    border = j == 0 or j == g.nz - 1
    for i in range(columns):
        at = j * nr + i
        low, high = g.face[i], g.face[i + 1]
        c.capacity[at] = c.inverse[at] = c.latent[at] = c.share[at] = c.blood[at] = c.spread[at] = c.area[at] = 0.0
        if i < covered:
            c.radial[at] = 0.0
            continue
        if i >= held or border:
            c.radial[at] = 0.0
            c.spread[at] = math.pi * (high * high - low * low) * s.k_bone
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
            c.blood[at] = (ligament * s.w_ligament + bone * s.w_bone) * dz
        c.area[at] = math.pi * (high * high - low * low)
        c.spread[at] = spread
        c.capacity[at] = capacity * dz
        c.inverse[at] = 1.0 / (capacity * dz)
        c.share[at] = inside * c_in / capacity
        if kind == FILLED:
            c.latent[at] = inside * s.latent / capacity
        node = node_of(g, c, j, i)
        if i == covered and covered > 0:
            c.radial[at - 1] = 2.0 * math.pi * dz / path(g, s, j, kind, shaft, shaft, node)
        beyond = node_of(g, c, j, i + 1) if i + 1 < held else max(g.node[i + 1], root * 1.0001)
        c.radial[at] = 2.0 * math.pi * dz / path(g, s, j, kind, 0.0, node, beyond)


@njit
def node_of(g, c, j, i):
    """Radius at which a cell has its mean temperature; that of a cell cut by the instrument moves outwards."""
    if i == c.covered[j] and c.shaft[j] > 0.0:
        return math.sqrt((c.shaft[j] ** 2 + g.face[i + 1] ** 2) / 2)
    return g.node[i]


@njit
def set_axial(g, s, c, j, columns):
    """Conductance of the first `columns` cells of row j to row j + 1."""
    nr = g.nr
    cover = 0.0
    for i in range(c.covered[j], c.covered[j + 1]):
        cover += math.pi * (g.face[i + 1] ** 2 - g.face[i] ** 2)
    print_area = math.pi * (c.shaft[j + 1] ** 2 - c.shaft[j] ** 2)
    for i in range(columns):
        at = j * nr + i
        up = at + nr
        below, above = c.capacity[at] > 0.0, c.capacity[up] > 0.0
        half = g.height[j] / 2
        c.axial[at] = 0.0
        if i < c.covered[j]:
            continue
        if i < c.covered[j + 1]:
            if below and c.spread[at] > 0.0:
                area = math.pi * (g.face[i + 1] ** 2 - g.face[i] ** 2)
                touch = area * max(print_area, 0.0) / cover
                film = 1.0 / s.contact if s.contact > 0.0 else 1e30
                if c.content[j] == EMPTY:
                    film = 0.0
                c.axial[at] = touch / (film + half * area / c.spread[at])
        elif below and above:
            c.axial[at] = 1.0 / (half / c.spread[at] + g.height[j + 1] / 2 / c.spread[up])
        elif below and j + 1 == g.nz - 1:
            film = top_film_of(g, s, j, i)
            if film > 0.0:
                c.axial[at] = 1.0 / (half / c.spread[at] + 1.0 / (film * c.area[at]))
        elif below and not above and s.outer_film > 0.0:
            c.axial[at] = 1.0 / (half / c.spread[at] + 1.0 / (s.outer_film * c.area[at]))
        elif above and not below:
            if s.outer_film > 0.0:
                c.axial[at] = 1.0 / (g.height[j + 1] / 2 / c.spread[up] + 1.0 / (s.outer_film * c.area[up]))
            elif s.outer_film < 0.0 and j == 0:
                c.axial[at] = c.spread[up] / (g.height[j + 1] / 2)


@njit
def top_film_of(g, s, j, i):
    """Film at the top: over root and filling; tissue beside the root is closed unless the grid says otherwise."""
    return s.top_film if g.open_top or g.node[i] < g.root[j] else 0.0


@njit
def set_rate(g, c, j):
    """Gershgorin bound of the fastest rate in row j."""
    nr, worst = g.nr, 0.0
    if j == 0 or j == g.nz - 1:
        return
    for i in range(nr - 1):
        at = j * nr + i
        if c.inverse[at] > 0.0:
            total = c.radial[at] + c.axial[at] + c.axial[at - nr]
            if i > 0:
                total += c.radial[at - 1]
            worst = max(worst, (2.0 * total + c.blood[at]) * c.inverse[at])
    c.rate[j] = worst


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
        c.edge[j], c.weight[j] = 0, 0.0
        root = g.root[j]
        if root <= 0.0:
            c.weight[j] = 1.0
            continue
        i = 0
        while i + 2 < g.nr and g.node[i + 1] <= root:
            i += 1
        if s.outer_film >= 0.0:
            while i > 0 and c.capacity[j * g.nr + i] == 0.0:
                i -= 1
        outside = max(g.node[i + 1], root * 1.0001)
        inner = path(g, s, j, EMPTY, 0.0, g.node[i], root)
        outer = path(g, s, j, EMPTY, 0.0, g.node[i], outside) - inner
        c.edge[j] = i
        c.weight[j] = outer / (inner + outer)
