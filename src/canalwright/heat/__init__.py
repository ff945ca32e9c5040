"""Heat in the root while it is filled: an axisymmetric (r, z) transient bioheat model.

    rho c dT/dt = div(k grad T) + w rho_b c_b (T_a - T)          (Pennes 1948, J Appl Physiol 1:93-122)

Nouns:

`Materials`      thermal properties and device behaviour, frozen; `readings()` are its uncertain inputs, each a
                 `Reading` with source and spread; `Materials.drawn(sample, i)` is draw `i` of them.
`Surroundings`   what lies round the root: `Surroundings.tissue()` (ligament and bone with blood flow, the default) or a
                 film to air or to a bath, as in the laboratory: `Surroundings.film(h, temperature)`.
`Resolution`     the grid and the tolerance: `Resolution.standard()`, `.quick()` (for many draws), `.fine()`.
`HeatStory`      what happened: frozen arrays over time and station, summaries by station and by act.
`HeatDraws`      compact summaries of many draws.

Functions:

`simulate(lumen, protocol, *, materials, surroundings, resolution, until, every, audit) -> HeatStory`
`simulate_many(lumen, protocol, draws, *, ...) -> HeatDraws`
`simulate_flat_side`, `simulate_many_flat_side`: the same with the root surface beside the flat side of an oval canal.
`longest_safe_activation(lumen, protocol, act, *, limit=10.0, ...) -> float`
`cem43(temperature, time)`, `seconds_above(temperature, time, level)`, `margin(rise)`
`warm_up()`      compiles the kernels in a background thread (they are cached afterwards).

Conventions: lengths mm, time s, temperatures deg C, stations `z` from the radiographic terminus, as everywhere. Thermal
properties carry SI units (W/(m K), J/(m3 K)), as handbooks do. See `docs/models/heat.md` for equations, limits and
the range in which they were checked.
"""

from canalwright.heat.batch import HeatDraws, simulate_many
from canalwright.heat.flat_side import least_width, simulate_flat_side, simulate_many_flat_side
from canalwright.heat.injury import cem43, margin, seconds_above
from canalwright.heat.materials import Materials, Surroundings, readings
from canalwright.heat.resolution import Resolution
from canalwright.heat.search import longest_safe_activation
from canalwright.heat.simulation import simulate, warm_up
from canalwright.heat.story import ActHeat, EnergyBook, HeatStory

__all__ = [
    "ActHeat",
    "EnergyBook",
    "HeatDraws",
    "HeatStory",
    "Materials",
    "Resolution",
    "Surroundings",
    "cem43",
    "least_width",
    "longest_safe_activation",
    "margin",
    "readings",
    "seconds_above",
    "simulate",
    "simulate_flat_side",
    "simulate_many",
    "simulate_many_flat_side",
    "warm_up",
]
