"""The demo case planned once for all tests of the room."""

import pytest

from canalwright import casefile, planning
from canalwright.casefile import Case
from canalwright.instruments import Tray
from canalwright.planning import Choices, Plan


@pytest.fixture(scope="session")
def tray() -> Tray:
    return casefile.generic_tray()


@pytest.fixture(scope="session")
def case() -> Case:
    return casefile.demo_case()


@pytest.fixture(scope="session")
def plans(case: Case, tray: Tray) -> dict[str, Plan]:
    return {c.name: planning.plan(c, tray, Choices(draws=200)) for c in case.canals}
