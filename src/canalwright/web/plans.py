"""What the planner's process does. It loads the planner and nothing else of the house: half of the memory that all of it would take."""

from canalwright import planning
from canalwright.anatomy import Canal
from canalwright.instruments import Tray
from canalwright.planning import Choices, Plan, Story
from canalwright.readiness import Record
from canalwright.web.worker import Told


def plan(told: Told, canal: Canal, tray: Tray, choices: Choices, record: Record | None) -> Plan:
    """The plan of a canal. Raises PlanError."""
    return planning.plan(canal, tray, choices, record, step=told)


def story(told: Told, plan: Plan) -> Story:
    """What would happen in it."""
    told("simulating", None)
    return planning.simulate(plan)


def warm_up(told: Told) -> None:
    """Load the kernels."""
    told("warming up", None)
    planning.warm_up().join()
