"""What the kernels are given: plain arrays and numbers in named tuples, in mm, s, J, W and K above body temperature.

Rows `j` run from below the apex upwards, columns `i` outwards; cell (j, i) is entry `j * nr + i` of a flat array. The
first
and last rows and the last column are borders that hold their temperature.
"""

from typing import Any, NamedTuple

PLACE, SEAR, HEAT, BITE, PRESS, INJECT, PAUSE = range(7)
EMPTY, FILLED, SEALER = range(3)


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
    """Nodes along an instrument."""
    open_top: bool
    """True: the film at the top covers tissue as well as tooth."""
    step: float
    """Height of the rows of the canal, and distance of the nodes along an instrument."""
    face: Any
    """(nr + 1,) radii of the column borders."""
    node: Any
    """(nr,) radii of the nodes."""
    height: Any
    """(nz,) heights of the rows."""
    centre: Any
    """(nz,) z of the rows."""
    bore: Any
    """(nz,) radius of the canal."""
    root: Any
    """(nz,) radius of the root."""
    ligament: Any
    """(nz,) radius where the ligament ends."""
    start: Any
    """(nz, nr) temperature at the start."""


class Stuff(NamedTuple):
    """Properties, in W/(mm K), J/(mm3 K), W/(mm2 K), mm2 K/W; temperatures in K above body temperature."""

    k_gp: float
    c_gp: float
    latent: float
    melt_low: float
    melt_mid_low: float
    melt_mid_high: float
    melt_high: float
    melt_share: float
    freeze_low: float
    freeze_high: float
    film: float
    k_dentine: float
    c_dentine: float
    k_ligament: float
    c_ligament: float
    w_ligament: float
    k_bone: float
    c_bone: float
    w_bone: float
    k_sealer: float
    c_sealer: float
    k_air: float
    c_air: float
    k_steel: float
    c_steel: float
    contact: float
    top_film: float
    top_temperature: float
    outer_film: float
    """Negative: tissue outside."""
    outer_temperature: float
    room: float
    plugger: float
    band: float
    offset: float
    body: float
    soft: float


class Tools(NamedTuple):
    """Instruments: row 0.. of each table is one instrument, nodes from the tip."""

    radius: Any
    """(tools, nodes) mm."""
    power: Any
    """(tools,) W; 0 for a plugger."""
    heated: Any
    """(tools,) number of heated nodes."""
    sensor: Any
    """(tools,) node of the sensor."""
    last: Any
    """(tools, nodes) temperature when it was last taken out; written by the run."""


class Cells(NamedTuple):
    """State of the cells (flat, nz * nr) and of the nodes of the instrument in use (after the cells)."""

    t: Any
    """(nz * nr + nodes,) temperature."""
    melt: Any
    """(nz * nr,) molten fraction of the gutta-percha in the cell."""
    latent: Any
    """(nz * nr,) latent heat of the cell over its heat capacity, K."""
    share: Any
    """(nz * nr,) share of the canal's content in the cell's heat capacity."""
    capacity: Any
    """(nz * nr + nodes,) J/K; 0 for a cell that holds its temperature or belongs to the instrument."""
    inverse: Any
    """(nz * nr + nodes,) 1 / capacity, 0 where that is 0."""
    blood: Any
    """(nz * nr,) W/K to the blood."""
    radial: Any
    """(nz * nr,) conductance to the next column, W/K."""
    axial: Any
    """(nz * nr,) conductance to the next row, W/K."""
    spread: Any
    """(nz * nr,) sum of conductivity times area, for the axial conductance."""
    area: Any
    """(nz * nr,) area of the live part of the cell, mm2."""
    content: Any
    """(nz,) EMPTY, FILLED or SEALER."""
    covered: Any
    """(nz,) columns that the instrument covers."""
    shaft: Any
    """(nz,) radius of the instrument in the row, 0 without."""
    edge: Any
    """(nz,) column just inside the root surface."""
    weight: Any
    """(nz,) weight of the inner node in the temperature of the root surface."""
    rate: Any
    """(nz,) bound of the row's fastest rate, 1/s."""
    rod: Any
    """(nodes,) conductance of the instrument to its next node."""
    work: Any
    """(6, nz * nr + nodes) stages of the time step."""


class Log(NamedTuple):
    """What is written down."""

    frames: Any
    """(frames, 7): time, front, top, carrier tip, its temperature, plugger tip, act."""
    axis: Any
    """(frames, nz)."""
    surface: Any
    """(frames, nz)."""
    rest: Any
    """(nz,) temperature of the root surface at the start."""
    before: Any
    """(nz,) temperature of the root surface one step ago."""
    peak: Any
    """(nz,) greatest rise at the root surface."""
    above: Any
    """(nz,) seconds above 47 deg C."""
    dose: Any
    """(nz,) CEM43, min."""
    acts: Any
    """(acts, 5): front, greatest rise, its station, apical temperature, seconds to cool."""
    book: Any
    """(9,): heater, surroundings, blood; the same of the last step; matter; gross; stored."""
    count: Any
    """(4,) integers: frames, steps, stages, rejected."""


class Control(NamedTuple):
    """How to run."""

    until: float
    tolerance: float
    every: float
    audit: bool
    frames: int
    fixed_step: float
    """Positive: constant time step, for tests of the order."""
