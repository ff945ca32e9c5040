"""Planning: from a measured canal and a tray to a plan, and from the plan to what will happen.

    plan = planning.plan(canal, tray, Choices(...))     # Plan: cone, pluggers, rounds, portions, heat, findings
    quick = planning.preview(plan, Choices(...))        # the same at once, for a control under the hand
    story = planning.simulate(plan)                     # Story: temperatures, melt front, pressure, fill over time
    few = planning.trials(canal, tray, [Choices(...)])  # Trial by protocol: what a study of many canals asks, at its cost

Follow a figure of the card from here: `planner` puts the plan together; `fitting` asks the room `fit`; `downpack` and
`backfill` lay out the stations, `script` the acts; `thermal` asks the room `heat`; `summary` makes quantities of the
draws that `doubt` made; `findings` warns. Rules of habit live in `practice`.
"""

from canalwright.planning.choices import Choices
from canalwright.planning.parts import ConePlan, Finding, Harm, HeatSummary, PluggerPlan, Portion, Reach, Round, TrimRow
from canalwright.planning.planner import PlanError, plan, preview, warm_up
from canalwright.planning.product import CAUTION, Plan
from canalwright.planning.story import Story, simulate
from canalwright.planning.trial import Trial, trials

__all__ = [
    "CAUTION",
    "Choices",
    "ConePlan",
    "Finding",
    "Harm",
    "HeatSummary",
    "Plan",
    "PlanError",
    "PluggerPlan",
    "Portion",
    "Reach",
    "Round",
    "Story",
    "Trial",
    "TrimRow",
    "plan",
    "preview",
    "simulate",
    "trials",
    "warm_up",
]
