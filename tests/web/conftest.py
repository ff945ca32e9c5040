"""One quick plan and its story for all tests of the page; a server and a browser for each file that asks for them."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from canalwright import casefile, planning
from canalwright.casefile import Case
from canalwright.planning import Choices, Plan, Story
from tests.support.browser import Server, browser, server


@pytest.fixture(scope="session")
def case() -> Case:
    return casefile.demo_case()


@pytest.fixture(scope="session")
def plan(case: Case) -> Plan:
    return planning.plan(case.canals[2], casefile.generic_tray(), Choices(draws=128))


@pytest.fixture(scope="session")
def story(plan: Plan) -> Story:
    return planning.simulate(plan)


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with server(data=tmp_path_factory.mktemp("data")) as found:
        yield found


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server that a test may stop, kill and start again."""
    running = Server(data=tmp_path_factory.mktemp("data"))
    running.start()
    yield running
    running.stop()


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as opened:
        yield opened
