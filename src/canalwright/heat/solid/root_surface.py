"""Points where the root surface crosses lines between cells, and the temperature there."""

from typing import Any

import numpy as np

from canalwright.heat.solid.kernel_base import Surface
from canalwright.heat.solid.tissue import AIR, Solid

RIM = 0.02
"""The flat end at the terminus belongs to no side of the root: points lower than this are left out, mm."""


def points(solid: Solid, stuff: Any) -> Surface:
    """All crossings of the surface of the root that is filled, along z >= 0, with a cell of dentine inside (the foramen
    is not root surface).

    The temperature at a crossing is that at which both sides pass the same heat: weights by the resistance of the tissue (and of the
    film, where air or a bath lies outside) on either side.
    """
    space, s = solid.space, stuff
    centres = space.centres()
    film = float(s["outer_film"]) if s["outer_film"] >= 0 else float(s["top_film"])
    index = np.arange(int(np.prod(space.shape))).reshape(space.shape)
    a, b, weight, station = [], [], [], []
    for axis in range(3):
        way = 2 - axis
        low: list[Any] = [slice(1, -1)] * 3
        high: list[Any] = [slice(1, -1)] * 3
        low[way], high[way] = slice(None, -1), slice(1, None)
        lo, hi = tuple(low), tuple(high)
        d_low, d_high = solid.own[lo], solid.own[hi]
        inside = (d_low < 0) != (d_high < 0)
        if way == 0:
            inside[-1] = False
        at = np.nonzero(inside)
        gap = np.broadcast_to(np.diff(centres[axis]).reshape([-1 if i == way else 1 for i in range(3)]), inside.shape)[
            at
        ]
        d_a, d_b = d_low[at].astype(float), d_high[at].astype(float)
        theta = d_a / (d_a - d_b)
        swap = d_a > 0
        cells = np.where(swap, index[hi][at], index[lo][at]), np.where(swap, index[lo][at], index[hi][at])
        part = np.where(swap, 1 - theta, theta)
        air = solid.beyond.ravel()[cells[1]] == AIR
        inner = part * gap / s["k_dentine"]
        out = (1 - part) * gap
        cosine = np.clip(np.abs(d_a - d_b) / gap, 0.15, 1.0)
        through = np.minimum(out, solid.ligament / cosine)
        outer = through / s["k_ligament"] + (out - through) / s["k_bone"]
        outer = np.where(air, 1 / max(film, 1e-30) / cosine, outer)
        where = (1 - theta) * solid.station[lo][at] + theta * solid.station[hi][at]
        keep = (where > RIM) & (where <= solid.length) & (solid.canal.ravel()[cells[0]] > 0)
        a.append(cells[0][keep])
        b.append(cells[1][keep])
        weight.append((outer / (inner + outer))[keep])
        station.append(where[keep])
    count = sum(len(v) for v in a)
    value = np.zeros((7, count))
    value[2] = -1e30
    return Surface(np.concatenate(a), np.concatenate(b), np.concatenate(weight), np.concatenate(station), value)


def positions(solid: Solid, surface: Surface) -> tuple[Any, Any]:
    """Where the crossings lie: (p, 3) mm in the world; and their direction about the canal's axis, degrees."""
    x, y, z = solid.space.centres()
    _, ny, nx = solid.space.shape
    own = solid.own.ravel()
    a, b = surface.a, surface.b
    d_a, d_b = own[a].astype(float), own[b].astype(float)
    part = (d_a / (d_a - d_b))[:, None]
    place = [np.column_stack([x[k % nx], y[k // nx % ny], z[k // (nx * ny)]]) for k in (a, b)]
    local = (1 - part) * place[0] + part * place[1]
    turn = solid.angle.ravel()
    way = np.exp(1j * turn[a]) * (1 - part[:, 0]) + np.exp(1j * turn[b]) * part[:, 0]
    return solid.origin + local @ solid.frame, np.mod(np.degrees(np.angle(way)), 360.0)
