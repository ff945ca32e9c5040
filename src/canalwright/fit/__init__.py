"""Fit: where a cone seats, how deep each instrument gets, what a gauge tells.

Conventions. `d` draws (row 0 nominal), `n` stations. Stations z grow coronally, so *deeper* is a
smaller z. Offsets are errors of diameter [mm], one per draw. A `Passage` is the shaped lumen as
instruments meet it, one row per draw.

    passage = fit.Passage.of(canal)                     # nominal, d = 1
    passage = fit.Passage.draws(canal, sample)          # readings "width", "file", "curve", "length" where drawn

Cone (compliant, never shrinks; the minor width governs):
    fit.seat(profile, z, minor, offset=0.0, trim=0.0) -> (d,) z of the tip; fit.BEYOND (-5.0) or less than 0:
        the tip passes the terminus, and BEYOND stands for "loose right through"
    fit.tug_back(profile, z, minor, tip, offset=, trim=, within=0.03) -> (d,) mm of close fit
    fit.gap(profile, z, minor, tip, offset=, trim=) -> (d, n), NaN below the tip
    fit.chance(seats, target, within=0.5) -> float
    fit.trim_for(profile, z, minor, target, offset=0.0, most=8.0) -> Trim(length, tip, median, reached)
    fit.trim_table(profile, z, minor, target, trims, offset=) -> tuple[TrimStep(trim, tip, seats, tug_back, chance)]
    fit.choose_cone(cones, passage, target, scores, ...) -> tuple[ConeFit, ...], best first
    (`scores` (d,) in [-1, 1] are uniform draws that scale each cone's own tolerance; 0 in row 0)

Reach:
    fit.reach(profile, passage, offset=0.0, clearance=0.0, elastic=False, strain_limit=0.0,
              longest=inf, floor=None) -> Reach(z (d,), code (d,), station (d,)), `.stopped_by` in words for row 0
    fit.reach_of(tool, passage, scores=None, clearance=0.0) -> Reach    # Plugger, Carrier, Needle or File
    fit.reaches(tools, passage, scores=None, clearance=0.0) -> tuple[Reach, ...]
    fit.choose_pluggers(pluggers, passage, scores=None, ...) -> PluggerChoice(coronal, middle, apical, reaches)
    fit.remedies(canal, pluggers, ...) -> tuple[Remedy, ...]      # when none comes within 5 mm of the end
    fit.binding_level(diameter, tip, taper) -> mm from the end at which a cylinder binds in a cone

Readings:
    fit.gauge_bounds(passes, stops) -> (least, greatest) width; fit.gauge_reading(...) -> Reading

The compiled parts load on first use; `fit.warm_up()` does it beforehand, in a thread of yours.
"""

from canalwright.fit.cone import BEYOND, CLOSE, Trim, TrimStep, chance, gap, seat, trim_for, trim_table, tug_back
from canalwright.fit.cone_choice import ConeFit, choose_cone
from canalwright.fit.passage import Passage
from canalwright.fit.pluggers import PluggerChoice, PluggerFit, choose_pluggers
from canalwright.fit.reach import Reach, binding_level, reach, reach_of, reaches
from canalwright.fit.readings import gauge_bounds, gauge_reading
from canalwright.fit.remedies import Remedy, remedies
from canalwright.fit.warm import warm_up

__all__ = [
    "BEYOND",
    "CLOSE",
    "ConeFit",
    "Passage",
    "PluggerChoice",
    "PluggerFit",
    "Reach",
    "Remedy",
    "Trim",
    "TrimStep",
    "binding_level",
    "chance",
    "choose_cone",
    "choose_pluggers",
    "gap",
    "gauge_bounds",
    "gauge_reading",
    "reach",
    "reach_of",
    "reaches",
    "remedies",
    "seat",
    "trim_for",
    "trim_table",
    "tug_back",
    "warm_up",
]
