"""What the press moves, and what cooling takes back: compaction of heat-softened gutta-percha.

Nouns:

`readings`            the uncertain properties and habits (`materials.toml`), each a `Reading`; portal widths on top.
`CompactionStory`     what happened: pressure, fill by station, fill of every portal over time, events; and by draw the fill in
                      the end, `presses` (`PressStory`), `portions` (`PortionStory`), root stress and the mass `Ledger`.
`CompactionSummary`   the same as quantities with intervals, chances and the sentence on what the doubt rests on.
`Extrusion`           risk of gutta-percha past the terminus and its cause.
`ColdFilling`         the same canal filled with a single cone or by cold lateral filling.

Functions:

`simulate(lumen, portals, protocol, heat_story) -> CompactionStory` (nominal), `simulate_many(..., sample)` (all draws at once),
`summarise(story, sample)`, `extrusion(..., sample)`, `single_cone(...)`, `cold_lateral(...)`,
`sensitivities(run, readings, outputs)` (Sobol), `leading(output, contributions)` (the sentence), `warm_up()` (compiles in the
background).

Conventions: lengths mm, stations `z` from the terminus, time s, temperature deg C, force N, pressure MPa, volume mm3. In arrays the
draws come first; draw 0 is nominal; in portal arrays the terminus comes first. See `docs/models/compaction.md`.
"""

from canalwright.compaction.extrusion import Cause, Extrusion, extrusion
from canalwright.compaction.materials import readings
from canalwright.compaction.result import CompactionStory, Event
from canalwright.compaction.sensitivity import Sensitivity, leading, sensitivities
from canalwright.compaction.shrinkage import PortionStory, PressStory
from canalwright.compaction.story import simulate, simulate_many
from canalwright.compaction.summary import CompactionSummary, HoldNeed, PortalFill, summarise
from canalwright.compaction.techniques import ColdFilling, cold_lateral, single_cone
from canalwright.compaction.voids import Fill, Ledger
from canalwright.compaction.warmup import warm_up

__all__ = [
    "Cause",
    "ColdFilling",
    "CompactionStory",
    "CompactionSummary",
    "Event",
    "Extrusion",
    "Fill",
    "HoldNeed",
    "Ledger",
    "PortalFill",
    "PortionStory",
    "PressStory",
    "Sensitivity",
    "cold_lateral",
    "extrusion",
    "leading",
    "readings",
    "sensitivities",
    "simulate",
    "simulate_many",
    "single_cone",
    "summarise",
    "warm_up",
]
