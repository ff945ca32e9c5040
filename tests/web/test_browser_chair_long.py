"""Hours at the chair on the browser's own clock, run fast: the timer keeps to the true time, sounds come when they are due, nothing piles
up, and a session that was left standing goes on."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Route, expect

from tests.support.browser import SLOW, Server
from tests.support.chairday import Day

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_chair_long")]
TICK = 0.15
"""The screen looks at its clock every tenth of a second."""


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("day")


@pytest.fixture(scope="module")
def served(data: Path) -> Iterator[Server]:
    running = Server(data=data)
    running.start()
    yield running
    running.stop()


def _opened(chromium: Browser, served: Server, data: Path, hours: float) -> Day:
    page = chromium.new_page(viewport={"width": 1280, "height": 800}, base_url=served.address)
    page.set_default_timeout(SLOW)
    return Day.begin(page, data, hours)


def test_an_hour_keeps_time_sounds_when_due_and_stays_small(chromium: Browser, served: Server, data: Path) -> None:
    day = _opened(chromium, served, data, 1.0)
    day.stand(120)
    before = day.memory()
    heated = cooled = False
    while not (heated and cooled):
        told = day.state()
        if told["step"]["seconds"] is None:
            day.press()
            continue
        day.still()
        told, first = day.press(), len(day.heard)
        step, since = told["step"], told["since"]
        day.page.clock.run_for(round(1000 * (step["seconds"] + 1.0)))
        day.goes()
        assert day.off(told) <= TICK
        sounds = [(kind, what, moment - since) for kind, what, moment in day.heard[first:]]
        up = [at for kind, what, at in sounds if (kind, what) == ("tone", "880")]
        assert len(up) == 1 and abs(up[0] - step["seconds"]) <= TICK, "one tone when the time is up"
        ticks = [
            at for kind, what, at in sounds if kind == "tone" and what == ("660" if step["kind"] == "heat" else "440")
        ]
        assert all(at % 1 <= TICK or at < TICK + 0.1 for at in ticks[1:]), "a tick at each whole second"
        for kind, what, at in sounds:
            if kind == "say" and what.isdigit():
                assert abs(step["seconds"] - at - int(what)) <= TICK, "the number that is spoken is what is left"
        if step["kind"] == "heat":
            heated = True
            warned = [at for kind, what, at in sounds if (kind, what) == ("tone", "1320")]
            if step["seconds"] + 1.0 > step["longest"]:
                assert warned and abs(warned[0] - max(step["longest"] - 0.5, 0)) <= TICK
        cooled = cooled or (step["kind"] == "pause" and step["seconds"] >= 4)
        day.press()
    day.stand(3000)
    after = day.memory()
    assert after["heap"] < before["heap"] + 4 and after["nodes"] < before["nodes"] + 300
    assert after["listeners"] <= before["listeners"] + 20
    day.page.close()


def test_a_wait_before_a_heat_is_counted_aloud_as_well(chromium: Browser, served: Server, data: Path) -> None:
    day = _opened(chromium, served, data, 1.0)
    told = day.state()
    while told["step"]["kind"] != "heat":
        told = day.press()
    day.still()
    end, asked = 0.0, False

    def longer(route: Route) -> None:
        nonlocal asked
        asked = True
        found = route.fetch().json()
        route.fulfill(json={**found, "wait": end - found["entered"]})

    day.page.route("**/state.json", longer)
    for _ in range(SLOW // 1000):  # a look that was under way when the clock stood leaves the next one out
        now = float(day.page.evaluate("Date.now() / 1000"))
        if asked:
            break
        end = now + 15.5
        day.page.clock.run_for(2100)
        day.page.wait_for_timeout(1000)
    expect(day.page.locator("#ch-clock-words")).to_have_text("wait")
    day.page.clock.run_for(15_000)
    sounds = [(kind, what, end - moment) for kind, what, moment in day.heard]
    spoken = [(what, left) for kind, what, left in sounds if kind == "say" and what.isdigit() and left > -1]
    assert [what for what, _ in spoken] == ["10", "3", "2", "1"]
    assert all(abs(left - int(what)) <= TICK for what, left in spoken)
    assert any(kind == "say" and what.startswith("wait 1") for kind, what, _ in sounds)
    assert [abs(left) <= TICK for kind, what, left in sounds if (kind, what) == ("tone", "880") and left < 14] == [True]
    day.page.unroute_all(behavior="wait")
    day.page.close()


def test_a_session_that_stood_over_night_goes_on(chromium: Browser, served: Server, data: Path) -> None:
    """A laptop shut at night with a timer running, opened in the morning: same step, true time, and the next press counts."""
    day = _opened(chromium, served, data, 15.0)
    told = day.state()
    while told["step"]["seconds"] is None or told["phase"] != "running":
        told = day.press()
    day.page.clock.fast_forward("14:00:00")
    day.page.clock.run_for(500)
    assert day.off(told) <= TICK
    expect(day.page.locator("#ch-clock-words")).to_have_text("Time is up")
    day.page.reload()
    expect(day.page.locator("#ch-count")).to_have_text(f"{told['index'] + 1} of {told['total']}")
    assert day.off(told) <= TICK
    after = day.press()
    assert (after["index"], after["phase"]) == (told["index"] + 1, "ready")
    day.page.close()
