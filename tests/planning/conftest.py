"""The demo case planned once for all tests of the room."""

from functools import cache

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
def plans() -> dict[str, Plan]:
    return planned()


@cache
def planned() -> dict[str, Plan]:
    """Each canal of the demo case by name."""
    tray = casefile.generic_tray()
    return {c.name: planning.plan(c, tray, Choices(draws=200)) for c in casefile.demo_case().canals}
