"""Several cases open at once: each keeps its own numbers, a control stays alive in each, memory does not grow with use."""

from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.support.browser import Server, browser
from tests.support.ward import Ward, resident

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_many")]
CASES = 3


def test_many_cases_at_once(tmp_path: Path) -> None:
    served = Server(data=tmp_path)
    served.start()
    with ExitStack() as stack:
        stack.callback(served.stop)
        ward = Ward.open(stack.enter_context(browser()), served.address, CASES, stack)
        ward.move(2.0)
        before, heap = resident(served.pid), ward.heap()
        for i in range(4):
            assert max(ward.move(2.2 + 0.2 * i)) < float("inf"), "a control stays alive beside other cases"
        ward.planned()
        assert resident(served.pid) < before + 150, "moving controls leaves nothing behind on the server"
        assert ward.heap() < heap + 4 * CASES, "nor in the pages"
        labels = [page.locator(".top .label").inner_text() for page in ward.pages]
        assert labels == [f"ward, bed {i + 1}" for i in range(CASES)]
        assert all("activation=2.8" in page.url for page in ward.pages)
