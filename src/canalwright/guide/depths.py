"""How deep an instrument can be: what a noted depth is held against before it is believed.

Nothing belongs beyond the end of the root, and no plugger, carrier or needle gets deeper than it passes freely without binding.
The doubt is told with its number; whether to measure again or to keep the depth is the clinician's to say.
"""

from dataclasses import dataclass

import numpy as np

from canalwright.guide.steps import Step
from canalwright.planning import Plan
from canalwright.quantities import Quantity

BEYOND, BINDS = "beyond", "binds"
"""Deeper than the end of the root; deeper than the instrument gets without binding, but in 5 of 100 draws."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why a depth over `over` mm is doubtful: `kind` BEYOND or BINDS, and the depth (mm, with its interval) that it turns on."""

    kind: str
    over: float
    limit: Quantity


def doubts(plan: Plan, step: Step) -> tuple[Doubt, ...]:
    """What a depth noted at this step is asked about, the most harmful first; none for a step without a depth."""
    if step.depth is None:
        return ()
    end = end_of_root(plan)
    found = [Doubt(BEYOND, end.value, end)]
    reach = next((r.depth for r in plan.reaches if r.name == step.tool), None)
    if reach is not None and step.kind in ("sear", "heat", "bite", "press", "inject") and reach.high < end.value:
        found.append(Doubt(BINDS, reach.high, reach))
    return tuple(found)


def doubt(plan: Plan, step: Step, depth: float) -> Doubt | None:
    """The most harmful doubt about this depth, mm; None where it is possible."""
    return next((d for d in doubts(plan, step) if depth > d.over), None)


def end_of_root(plan: Plan) -> Quantity:
    """Depth of the radiographic terminus from the reference point with its 5-95 % interval, mm."""
    reading = plan.canal.length
    low, high = reading.quantile(np.array([0.05, 0.95]))
    return Quantity(
        reading.value, min(float(low), reading.value), max(float(high), reading.value), reading.unit, reading.source
    )
