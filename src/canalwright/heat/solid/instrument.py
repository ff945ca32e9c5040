"""The instrument in the canal: a body of its own along the axis, and what it touches and covers there."""

import math
from typing import Any

import numpy as np

from canalwright.heat.solid.kernel_base import GX, INVERSE, Y0, Rod
from canalwright.heat.solid.space import Array
from canalwright.heat.solid.state import FIT, State

THINNEST = 0.75
"""An instrument is at least this many voxels thick (its radius), lest it slip between the centres of cells."""


def shaft_of(state: State, radii: Array, tip: int) -> Array:
    """Radius of the instrument by row, shape (rows,): below its tip that of its tip, beyond its end 0."""
    solid = state.solid
    found = np.zeros(solid.rows)
    rows = min(solid.rows - tip, len(radii))
    voxel = float(np.diff(solid.space.x).min())
    if rows > 0:
        found[tip : tip + rows] = np.minimum(
            np.maximum(radii[:rows], THINNEST * voxel), FIT * solid.bore[tip : tip + rows]
        )
        found[:tip] = found[tip]
    return found


def body_of(state: State, radii: Array, start: Array, *, held: bool = False) -> Rod:
    """A fresh instrument out of the canal, its nodes at temperatures `start`."""
    s, n, span, step = state.s, state.nodes, state.span, state.solid.step
    r = radii.reshape(n, span)
    section = np.pi * (r**2).mean(axis=1)
    length = step * span
    capacity = section * length * s["c_steel"]
    t = np.zeros((6, n))
    t[:] = start
    link = np.zeros(n)
    link[:-1] = s["k_steel"] * np.sqrt(section[1:] * section[:-1]) / length
    none = np.zeros(0, np.int64)
    return Rod(
        t, np.zeros(n) if held else 1.0 / capacity, link, np.zeros(n), none, none, np.zeros(0), none, none,
        np.zeros(state.field.nz + 1, np.int64),
    )  # fmt: skip


def faded(state: State, radii: Array, last: Array, rest: float, away: float) -> Array:
    """Temperatures of an instrument that lay in the room for `away` seconds after it was taken out at `last`."""
    s = state.s
    r = radii.reshape(state.nodes, state.span)
    section, around = np.pi * (r**2).mean(axis=1), 2 * np.pi * r.mean(axis=1)
    fade = np.exp(-away * float(s["top_film"]) * around / (section * float(s["c_steel"])))
    return np.asarray(rest + (last - rest) * fade)


def lay(state: State, rod: Rod, radii: Array, tip: int, low: int) -> Rod:
    """The instrument with its tip in row `tip`; rows from `low` up are set anew."""
    solid, was = state.solid, state.covered.copy()
    shaft = shaft_of(state, radii, tip)
    state.set_rows(low, solid.rows, shaft, tip)
    _close(state, was & ~state.covered)
    k = np.flatnonzero(state.covered)
    nodes = np.minimum((state.row[k] - tip) // state.span, state.nodes - 1)
    cells = state.fixed.cells[k]
    state.t[cells] = rod.t[Y0, np.maximum(nodes, 0)]
    settle(state)
    touch, node, g = _touching(state, tip)
    ambient = np.zeros(state.nodes)
    out = np.arange(len(radii)) >= solid.rows - tip
    around = 2 * math.pi * radii * solid.step * float(state.s["top_film"])
    np.add.at(ambient, np.arange(len(radii))[out] // state.span, around[out])
    layers = np.searchsorted(state.layer[k], np.arange(state.field.nz + 1))
    return rod._replace(
        ambient=ambient, touch=touch, node=node, g=g, cover=cells, cover_node=np.maximum(nodes, 0), start=layers
    )


def leave(state: State, low: int) -> Rod:
    """No instrument: what it covered takes the temperature beside it; rows from `low` up are set anew."""
    was = state.covered.copy()
    state.set_rows(min(low, _lowest(state, was)), state.solid.rows)
    _close(state, was)
    settle(state)
    return state.no_rod()


def _lowest(state: State, covered: Any) -> int:
    return int(state.row[covered].min()) if covered.any() else state.solid.rows


def _close(state: State, freed: Any) -> None:
    """Freed cells take the mean temperature and molten fraction of what stands round them in their row."""
    for j in np.unique(state.row[freed]):
        k = state.cells_of(j, j + 1)
        mine = k[freed[k]]
        ring = k[~freed[k] & ~state.covered[k] & (state.fixed.share[k] > 0.5)]
        if len(ring) == 0:
            ring = k[~freed[k] & ~state.covered[k]]
        if len(ring):
            near = ring[state.beside[ring] < state.beside[ring].min() + 0.6 * state.solid.step + 0.05]
            state.t[state.fixed.cells[mine]] = state.t[state.fixed.cells[near]].mean()
            state.melt.molten[mine] = state.melt.molten[near].mean()


def settle(state: State) -> None:
    """Excess of enthalpy over temperature as the molten fractions say; none where there is no gutta-percha."""
    melt = state.melt
    melt.molten[melt.latent == 0.0] = 0.0
    np.multiply(melt.latent, melt.molten, out=melt.e[0])


def _touching(state: State, tip: int) -> tuple[Any, Any, Array]:
    """Cells beside covered ones, the node that each touches, and the conductance."""
    w, g = state.fixed.walls, state.field.g
    a, b = state.place[w.a], state.place[w.b]
    cover_a, cover_b = (a >= 0) & state.covered[a], (b >= 0) & state.covered[b]
    i = np.flatnonzero(cover_a != cover_b)
    under = np.where(cover_a[i], a[i], b[i])
    node = np.clip((state.row[under] - tip) // state.span, 0, state.nodes - 1)
    free = np.where(cover_a[i], w.b[i], w.a[i])
    conductance = g[GX + w.axis[i], w.a[i]].astype(float)
    live = (g[INVERSE, free] > 0) & (conductance > 0)
    return free[live], node[live], conductance[live]
