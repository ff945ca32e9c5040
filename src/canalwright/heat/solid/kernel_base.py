# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""How the kernels of the solid model are compiled, and what they are given.

As in the (r, z) model (`canalwright.kernels`), with one stamp for the kernels of both.
Those marked `both` run their outer loop on all the cores that numba may use.
"""

from typing import Any, NamedTuple

import numpy as np

from canalwright.kernels import compiler

# Rows of `Field.g`: conductance to the next cell along x, y, z [W/K]; inverse heat capacity [K/J]; conductance to the blood.
GX, GY, GZ, INVERSE, LOSS = range(5)
# Rows of `Field.y`: temperature at the start of a step, two stages, rate at the start and at the end.
Y0, YA, YB, F0, F1 = range(5)
# Rows of `Surface.value`: at the start, one step ago, greatest rise, when, in which act, seconds above 47, CEM43.
REST, BEFORE, PEAK, WHEN, ACT, ABOVE, DOSE = range(7)
# Rows of `Field.dose`: greatest temperature, seconds above 47, CEM43, act of the greatest temperature.
MOST, LONG, MINUTES, BY = range(4)
# Entries of `Log.book` [J]: heater, borders, blood; the same of the last step; matter; gross; stored.
HEATER, BORDER, FROM_BLOOD, LAST, MATTER, GROSS, STORED = 0, 1, 2, 3, 6, 7, 8
# Entries of `Log.count`.
STEPS, STAGES, REJECTED, TAKEN = range(4)
# Columns of `Frames.moment`: time, act, deepest soft row, row of the filling's top, row of the instrument's tip
# (-1: none) and its temperature.
AT_TIME, AT_ACT, AT_FRONT, AT_TOP, AT_TIP, AT_TIP_T = range(6)
# Columns of `Log.acts`.
FRONT, RISE, RISE_AT, APICAL, COOLED = range(5)


njit = compiler(
    "canalwright.heat",
    "canalwright.heat.solid",
    names=("kernel_", "layout"),
    error_model="numpy",
    fastmath={"contract", "nsz", "arcp"},
)


def njit_sum(function):
    """The same for a kernel that only sums: the order of its additions is free."""
    return njit(function, fastmath=True)


def both(function):
    """The same for a kernel that uses all cores."""
    return njit(function, parallel=True)


class Field(NamedTuple):
    """All cells, flat, x fastest; n = nz * ny * nx; single precision."""

    nx: int
    plane: int
    nz: int
    g: Any
    """(5, n) float32, see GX."""
    y: Any
    """(5, n) float32, see Y0."""
    span: Any
    """(nz, 2) first and one past the last cell of each layer that may change, within the layer."""
    rate: Any
    """(nz,) bound of the fastest rate in each layer [1/s]."""
    dose: Any
    """(4, n) float32, see MOST."""


class Melt(NamedTuple):
    """Cells that share in the canal, in the order of the field; m of them."""

    cell: Any
    """(m,) cell."""
    start: Any
    """(nz + 1,) first of each layer."""
    row: Any
    """(m,) row along the canal."""
    weight: Any
    """(m,) heat capacity of the canal's content in the cell [J/K], 0 where there is no gutta-percha."""
    latent: Any
    """(m,) latent heat over heat capacity of the cell [K]; 0 where there is no gutta-percha or an instrument."""
    molten: Any
    """(m,) molten fraction at the start of the step."""
    e: Any
    """(3, m) enthalpy less temperature [K]: at the start, and at two stages."""
    warm: Any
    """(nz,) whether anything may melt or freeze in a layer in this step."""
    axis: Any
    """(rows,) cell nearest to the axis in each row."""


class Rod(NamedTuple):
    """The instrument in the canal: nodes from the tip; what it touches and what it covers."""

    t: Any
    """(6, nodes) temperature: see Y0; row 5 spare."""
    inverse: Any
    """(nodes,) inverse heat capacity; 0: held."""
    link: Any
    """(nodes,) conductance to the next node."""
    ambient: Any
    """(nodes,) conductance to the air above the canal."""
    touch: Any
    """(k,) cells that it touches."""
    node: Any
    """(k,) node that touches it."""
    g: Any
    """(k,) conductance."""
    cover: Any
    """(c,) cells that it covers, in the order of the field."""
    cover_node: Any
    """(c,) node of each."""
    start: Any
    """(nz + 1,) first covered cell of each layer."""


class Surface(NamedTuple):
    """Points where the root surface crosses a line between two cells."""

    a: Any
    b: Any
    weight: Any
    """(p,) weight of cell a."""
    station: Any
    value: Any
    """(7, p), see REST."""


class Frames(NamedTuple):
    """Pictures taken on the way."""

    cell: Any
    """(k,) cells whose temperature is kept."""
    cells: Any
    """(frames, k) float32."""
    surface: Any
    """(frames, p) float32; p 0 where it is not wanted."""
    moment: Any
    """(frames, 6), see AT_TIME."""


class Log(NamedTuple):
    """What is written down."""

    acts: Any
    """(acts, 5)."""
    book: Any
    """(9,)."""
    count: Any
    """(4,) integers."""


NOW = np.dtype(
    [(name, np.float64) for name in (
        "time", "end", "step", "tolerance", "fixed", "power", "target", "watched_since", "slowest", "framed", "every", "act_end", "until",
    )]
    + [(name, np.int64) for name in ("on", "tool", "heated", "sensor", "act", "watched", "top", "first", "audit", "near", "tip", "front")]
)  # fmt: skip
"""Where the run stands. `slowest`: longest step. `near`: rows beneath the plugger whose cooling is timed."""
