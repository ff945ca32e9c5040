"""What the kernels are given: plain arrays and records, in mm, s, J, W and K above body temperature.

Rows `j` run from below the apex upwards, columns `i` outwards; cell (j, i) is entry `j * nr + i` of a flat array. The
first and last rows and the last column are borders that hold their temperature. Few arrays with named rows, and records
instead of many arguments: the kernels compile several times faster so.
"""

from typing import Any, NamedTuple

import numpy as np

PLACE, SEAR, HEAT, BITE, PRESS, INJECT, PAUSE = range(7)
EMPTY, FILLED, SEALER = range(3)

# Columns of the table of acts.
KIND, BEGIN, END, TOOL, LEVEL, TEMPERATURE, MOTION, ACTIVE, TOP = range(9)

# Rows of `Grid.row`: height, z of the middle, radii of canal, root and outer edge of the ligament.
HEIGHT, CENTRE, BORE, ROOT, LIGAMENT = range(5)

# Rows of `Cells.field`: molten fraction; latent heat over heat capacity [K]; share of the canal's content in the capacity;
# capacity [J/K], 0 where the temperature is held, and its inverse; conductance to the blood, to the next column, to the next
# row [W/K]; sum of conductivity times area; area of the live part of the cell [mm2].
MELT, LATENT, SHARE, CAPACITY, INVERSE, BLOOD, RADIAL, AXIAL, SPREAD, AREA = range(10)

# Rows of `Cells.mark`: content of the canal, columns that the instrument covers, column just inside the root surface.
CONTENT, COVERED, EDGE = range(3)

# Rows of `Cells.row`: radius of the instrument (0 without), weight of the inner node in the temperature of the root surface,
# bound of the row's fastest rate [1/s].
SHAFT, WEIGHT, RATE = range(3)

# Rows of `Cells.melt`, entry by entry of `Cells.warm`: latent heat [K], that times the molten fraction before the step, slopes of the
# two ramps of melting and of the one of freezing, enthalpy and temperature of the stage.
WARM_LATENT, WARM_MOLTEN, SLOPE_LOW, SLOPE_HIGH, SLOPE_FREEZE, WARM_U, WARM_T = range(7)

# Rows of `Cells.cover`: cell, node of the instrument.
CELL, NODE = range(2)

# Entries of `Cells.count`: cells that the instrument covers, cells that may melt or freeze.
COVERS, WARM = range(2)

# Rows of `Log.row`, at the root surface: temperature at the start and one step ago, greatest rise, seconds above 47, CEM43, its rate
# one step ago (0: not known).
REST, BEFORE, PEAK, ABOVE, DOSE, DOSING = range(6)

# Columns of `Log.acts`: deepest front, greatest rise and its station, apical temperature, seconds to cool.
FRONT, RISE, RISE_AT, APICAL, COOLED = range(5)

# Columns of `Log.frames`.
AT_TIME, AT_FRONT, AT_TOP, AT_CARRIER, AT_CARRIER_T, AT_PLUGGER, AT_ACT = range(7)

# Entries of `Log.book` [J]: heater, borders, blood; the same of the last step; matter; gross; stored.
HEATER, BORDER, FROM_BLOOD, LAST, MATTER, GROSS, STORED = 0, 1, 2, 3, 6, 7, 8

# Entries of `Log.count`.
FRAMES, STEPS, STAGES, REJECTED = range(4)

UNSET = 1e30


class Grid(NamedTuple):
    """Cells and layers."""

    nr: int
    nz: int
    first: int
    """First row of the canal (z >= 0)."""
    last: int
    """One past the last row of the canal."""
    inner: int
    """Columns that may touch the canal."""
    nodes: int
    """Nodes along an instrument, from the tip."""
    span: int
    """Rows that one node of an instrument covers: steel conducts so much better than the rest."""
    step: float
    """Height of the rows of the canal."""
    column: Any
    """(2, nr + 1) radii of column borders, and of nodes."""
    row: Any
    """(5, nz)."""
    start: Any
    """(nz, nr) temperature at the start."""


class Cells(NamedTuple):
    """State: n = nz * nr cells and, after them where the length is m, the nodes of the instrument in use."""

    t: Any
    """(m,) temperature."""
    field: Any
    """(10, m)."""
    mark: Any
    """(3, nz) integers."""
    row: Any
    """(3, nz)."""
    rod: Any
    """(nodes + 1,) conductance of the instrument between the node before and this one, 0 at both ends."""
    work: Any
    """(6, m) stages of the time step."""
    start: Any
    """(nodes + 1,) integers: where the cells that touch each node begin in `link`; made anew for every march, as all below."""
    link: Any
    """(m,) integers: cells that exchange heat with the instrument."""
    pull: Any
    """(m,) their conductances, W/K."""
    gain: Any
    """(nodes,) heat that the nodes gain from those cells and the heater, W."""
    cover: Any
    """(2, m) integers: cells that take the temperature of a node, and those nodes."""
    film: Any
    """(nodes,) conductance of the instrument to what lies above the canal, W/K."""
    warm: Any
    """(m,) integers: cells that may melt or freeze."""
    melt: Any
    """(7, m)."""
    count: Any
    """(2,) integers."""


class Tools(NamedTuple):
    """Instruments: each row of a table is one, nodes and rows run from the tip."""

    radius: Any
    """(tools, nodes * span) mm, row by row."""
    last: Any
    """(tools, nodes) temperature when it was last taken out; written by the run."""
    power: Any
    """(tools, 2): W (0 for a plugger), time when it was last taken out (negative: never)."""
    place: Any
    """(tools, 2) integers: number of heated nodes, node of the sensor."""


class Log(NamedTuple):
    """What is written down."""

    frames: Any
    """(frames, 7)."""
    lines: Any
    """(2, frames, nz): axis, root surface."""
    row: Any
    """(6, nz)."""
    acts: Any
    """(acts, 5)."""
    book: Any
    """(9,)."""
    count: Any
    """(4,) integers."""


# Properties in W/(mm K), J/(mm3 K), W/(mm2 K), mm2 K/W; temperatures in K above body temperature. `outer_film` is negative
# where tissue lies outside; `open_top` 1 where the film at the top covers tissue as well as tooth.
STUFF = np.dtype(
    [
        (name, np.float64)
        for name in (
            "k_gp", "c_gp", "latent", "melt_low", "melt_mid_low", "melt_mid_high", "melt_high", "melt_share",
            "freeze_low", "freeze_high", "film", "k_dentine", "c_dentine", "k_ligament", "c_ligament", "w_ligament",
            "k_bone", "c_bone", "w_bone", "k_sealer", "c_sealer", "k_air", "c_air", "k_steel", "c_steel", "contact",
            "top_film", "top_temperature", "open_top", "outer_film", "outer_temperature", "room", "plugger", "band",
            "offset", "body", "soft",
        )
    ]
)  # fmt: skip

# Where the run stands, and how it is to run: time, time to march to, step to try; last frame, end of the act, start of the
# watched press; the heater's set point; tolerance, least time between frames, constant step for tests of the order
# (0: adaptive), end; tip row, row of the filling's top, act, watched press (-1: none), instrument (-1: none), heater on,
# energy book kept, frames wanted, rows that a moving instrument hops.
NOW = np.dtype(
    [
        (name, np.float64)
        for name in (
            "time", "end", "step", "framed", "act_end", "watched_since", "target", "tolerance", "every", "fixed", "until",
        )
    ]
    + [(name, np.int64) for name in ("tip", "top", "act", "watched", "tool", "on", "audit", "frames", "hop")]
)  # fmt: skip
