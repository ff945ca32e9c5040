"""Conductance between two cells, and heat capacity of a cut one.

Between two centres lie, in this order outwards from the axis: the canal's content, dentine, ligament, what is beyond. Where the
line between the centres crosses a surface follows from the distances at both ends, linear between them; so the resistance is
the exact series of lengths over conductivities, and films. A film (sealer, air) that the line crosses askew at the
cosine c has 1 / c of its resistance, and a stair of faces then passes exactly what the smooth film would. For heat that flows across or
along a plane surface the sum over the stair is exact; where it does both the error is of first order in the cell.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from canalwright.heat.materials import Materials
from canalwright.heat.solid.space import Array, Single, share
from canalwright.heat.solid.tissue import AIR, CANCELLOUS, CORTICAL, SOFT, Solid

LEAST_COSINE = 0.15
CANCELLOUS_CONDUCTIVITY, CANCELLOUS_CAPACITY, CANCELLOUS_FLOW = 0.35, 2.68e6, 2.0
"""W/(m K) and J/(m3 K): tissue database (Hasgall et al.), from memory; perfusion as a multiple of that of cortical bone, assumed."""


@dataclass(frozen=True)
class Walls:
    """Faces whose line of centres passes through the canal: along `axis`, from cell `a` to the next cell `b` (flat index).

    Per unit of area: `fixed` resistance outside the canal; `inside` [mm] length in it; `film` factor 1/c where the line
    crosses the canal's wall, 0 where not; `size` area. `first`: whether cell a's centre lies in the canal, `second`: b's.
    `gap`: distance of the two centres.
    """

    axis: Any
    a: Any
    b: Any
    fixed: Array
    inside: Array
    film: Array
    size: Array
    first: Any
    second: Any
    gap: Array


@dataclass(frozen=True)
class Fixed:
    """Everything that a protocol does not change; `g` (5, n) single precision as the kernels take it.

    In cells that share in the canal (`cells`, in order) `share` is the canal's share of the volume, `volume` the volume and
    `rest` the heat capacity of the remainder [J/K].
    """

    g: Single
    walls: Walls
    cells: Any
    share: Array
    volume: Array
    rest: Array


def fixed(solid: Solid, stuff: Any, materials: Materials) -> Fixed:
    """Conductances with an empty row of zeros where the canal's content decides."""
    space, s = solid.space, stuff
    n = int(np.prod(space.shape))
    g = np.zeros((5, n), np.float32)
    k_out, c_out, w_out = _beyond(solid, s, materials)
    x, y, z = space.widths()
    live = np.zeros(space.shape, bool)
    live[1:-1, 1:-1, 1:-1] = True
    outside = solid.beyond == AIR
    live &= ~(outside & (solid.root > 0))
    volume = z[:, None, None] * y[None, :, None] * x[None, None, :]
    in_canal = share(solid.canal, x, y, z)
    in_root = np.maximum(share(solid.root, x, y, z), in_canal)
    in_outer = np.maximum(share(solid.root - np.float32(solid.ligament), x, y, z), in_root)
    in_root[outside], in_outer[outside] = 1.0, 1.0
    in_canal[~live] = 0.0
    capacity = volume * ((in_root - in_canal) * s["c_dentine"] + (in_outer - in_root) * s["c_ligament"])
    capacity += volume * (1 - in_outer) * c_out
    loss = volume * ((in_outer - in_root) * s["w_ligament"] + (1 - in_outer) * w_out)
    loss[~live] = 0.0
    inverse = np.where(live & (capacity > 0), 1.0 / np.maximum(capacity, 1e-12), 0.0)
    g[3], g[4] = inverse.ravel(), loss.ravel()
    cells = np.flatnonzero((in_canal > 1e-4).ravel() & live.ravel())
    walls = [_faces(solid, s, axis, g, k_out, live) for axis in range(3)]
    together = Walls(*(np.concatenate([getattr(w, f) for w in walls]) for f in Walls.__dataclass_fields__))
    v = volume.ravel()[cells]
    f = in_canal.ravel()[cells].astype(float)
    return Fixed(g, together, cells, f, v, np.maximum(capacity.ravel()[cells], 0.0))


def _beyond(solid: Solid, s: Any, m: Materials) -> tuple[Array, Array, Array]:
    """Conductivity, capacity and perfusion of what lies beyond the ligament, by cell."""
    tables = np.zeros((3, 8))
    tables[:, CORTICAL] = s["k_bone"], s["c_bone"], s["w_bone"]
    tables[:, CANCELLOUS] = (
        CANCELLOUS_CONDUCTIVITY * 1e-3, CANCELLOUS_CAPACITY * 1e-9, s["w_bone"] * CANCELLOUS_FLOW,
    )  # fmt: skip
    tables[:, SOFT] = s["k_ligament"], s["c_ligament"], s["w_ligament"]
    tables[:, AIR] = 1.0, 0.0, 0.0
    return tuple(t[solid.beyond] for t in tables)  # type: ignore[return-value]


def _faces(solid: Solid, s: Any, axis: int, g: Single, k_out: Array, live: Any) -> Walls:
    """Conductances along one axis (0: x) into g; returns the faces that the canal's content decides."""
    space = solid.space
    way = 2 - axis
    low, high = _pair(way)
    widths, centres = space.widths(), space.centres()
    gap = np.diff(centres[axis]).reshape([-1 if i == way else 1 for i in range(3)])
    area = np.ones(1)
    for other in range(3):
        if other != axis:
            area = area * widths[other].reshape([-1 if i == 2 - other else 1 for i in range(3)])
    a, b = live[low], live[high]
    any_live = a | b
    in_canal = _below(solid.canal[low], solid.canal[high])
    in_root = np.maximum(_below(solid.root[low], solid.root[high]), in_canal)
    in_outer = np.maximum(_below(solid.root[low] - solid.ligament, solid.root[high] - solid.ligament), in_root)
    air = ((solid.beyond[low] == AIR) | (solid.beyond[high] == AIR)) & ~(a & b)
    if way == 0:
        air[-1] = False
    in_outer = np.where(air, in_root, in_outer)
    out = np.where(solid.root[low] > solid.ligament, 1 / k_out[low], 0.0)
    both = np.where(solid.root[high] > solid.ligament, 1 / k_out[high], 0.0)
    number = (out > 0).astype(float) + (both > 0)
    mean = np.where(number > 0, (out + both) / np.maximum(number, 1), 1 / k_out[low])
    outer_film = float(s["outer_film"]) if s["outer_film"] >= 0 else float(s["top_film"])
    resistance = gap * (
        (in_root - in_canal) / s["k_dentine"] + (in_outer - in_root) / s["k_ligament"]
        + np.where(air, 0.0, (1 - in_outer) * mean)
    )  # fmt: skip
    cosine = np.clip(np.abs(solid.root[high] - solid.root[low]) / gap, LEAST_COSINE, 1.0)
    resistance = resistance + np.where(air, 1.0 / max(outer_film, 1e-30) / cosine, 0.0)
    closed = ~any_live
    if way == 0:
        resistance, closed = _top(solid, s, resistance, closed)
    touches = (in_canal > 0) & any_live
    conductance = np.where(closed | touches, 0.0, area / np.maximum(resistance, 1e-12))
    shape = space.shape
    whole = np.zeros(shape, np.float32)
    whole[low] = conductance
    g[axis] = whole.ravel()
    index = np.arange(int(np.prod(shape))).reshape(shape)
    at = np.nonzero(touches & ~closed)
    first, second = solid.canal[low][at] < 0, solid.canal[high][at] < 0
    cosine = np.abs(solid.canal[high][at] - solid.canal[low][at]) / np.broadcast_to(gap, touches.shape)[at]
    film = np.where(first != second, 1 / np.clip(cosine, LEAST_COSINE, 1.0), 0.0)
    size = np.broadcast_to(area, touches.shape)[at]
    apart = np.broadcast_to(gap, touches.shape)[at]
    return Walls(
        np.full(len(size), axis), index[low][at], index[high][at], resistance[at], in_canal[at] * apart, film, size,
        first, second, np.array(apart),
    )  # fmt: skip


def _top(solid: Solid, s: Any, resistance: Array, closed: Any) -> tuple[Array, Any]:
    """At the last face along z lies the film to the mouth, over root and filling; tissue beside the root is closed."""
    film = float(s["top_film"])
    resistance[-1] += 1.0 / film if film > 0 else 0.0
    closed = closed.copy()
    if film <= 0:
        closed[-1] = True
    elif not float(s["open_top"]):
        closed[-1] |= solid.root[-2] > 0
    return resistance, closed


def _below(a: Single, b: Single) -> Array:
    """Share of the line from a cell with distance `a` to one with `b` that lies where the distance is negative."""
    step = np.where(a == b, 1.0, b - a)
    cross = np.clip(-a / step, 0.0, 1.0)
    return np.where(a < 0, np.where(b < 0, 1.0, cross), np.where(b < 0, 1.0 - cross, 0.0)).astype(float)


def _pair(way: int) -> tuple[Any, Any]:
    low, high = [slice(None)] * 3, [slice(None)] * 3
    low[way], high[way] = slice(None, -1), slice(1, None)
    return tuple(low), tuple(high)
