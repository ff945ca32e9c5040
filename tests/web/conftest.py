"""One quick plan and its story for all tests of the page."""

import pytest

from canalwright import casefile, planning
from canalwright.casefile import Case
from canalwright.planning import Choices, Plan, Story


@pytest.fixture(scope="session")
def case() -> Case:
    return casefile.demo_case()


@pytest.fixture(scope="session")
def plan(case: Case) -> Plan:
    return planning.plan(case.canals[2], casefile.generic_tray(), Choices(draws=128))


@pytest.fixture(scope="session")
def story(plan: Plan) -> Story:
    return planning.simulate(plan)
