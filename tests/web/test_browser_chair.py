"""Chair mode in a real browser: keys and pedal, a timer that survives reload and crash, what happened is written down, the debrief."""

import re
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.support.browser import Server, browser

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_chair")]


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    running = Server(data=tmp_path_factory.mktemp("chair"))
    running.start()
    yield running
    running.stop()


@pytest.fixture(scope="module")
def page(served: Server) -> Iterator[Page]:
    with browser() as chromium:
        made = chromium.new_context(viewport={"width": 1280, "height": 800}, base_url=served.address).new_page()
        made.set_default_timeout(45_000)
        yield made


def _begin(page: Page, stage: str) -> None:
    page.goto("/demo")
    page.wait_for_url("**/case/**")
    page.goto(page.url.replace("/plan", f"/{stage}"))
    page.get_by_role("button", name="Begin").click()
    expect(page.locator("#ch-words")).to_have_text("Place the cone, coated with sealer", timeout=120_000)


def test_a_crash_loses_nothing(page: Page, served: Server) -> None:
    _begin(page, "chair")
    for key in ("Space", "PageDown"):
        count = page.locator("#ch-count").inner_text()
        page.keyboard.press(key)
        expect(page.locator("#ch-count")).not_to_have_text(count)
    expect(page.locator("#ch-words")).to_contain_text("cool")
    page.keyboard.press("Enter")
    expect(page.locator("#ch-go")).to_have_text("Stop: done")
    page.wait_for_timeout(1500)
    before = float(page.locator("#ch-clock").inner_text())
    page.reload()
    expect(page.locator("#ch-go")).to_have_text("Stop: done")
    page.wait_for_timeout(1500)  # whole seconds are shown: a timer that began anew would show what it showed before
    assert float(page.locator("#ch-clock").inner_text().replace("+", "-")) < before
    served.stop(signal.SIGKILL)
    page.keyboard.press("Space")
    expect(page.locator("#ch-warn")).to_contain_text("Not recorded")
    served.start()
    expect(page.locator("#ch-words")).to_have_text("Heat, plunging to the stop", timeout=45_000)
    expect(page.locator("#ch-warn")).to_have_text("")


def test_what_happened_is_written_down_and_the_debrief_says_so(page: Page) -> None:
    _begin(page, "practice")
    page.keyboard.press("e")
    page.get_by_role("button", name="cone moved").click()
    for _ in range(60):
        before = page.locator("#ch-count").inner_text(), page.locator("#ch-go").inner_text()
        page.keyboard.press("Space")
        page.wait_for_function(
            "b => document.getElementById('ch-count').innerText !== b[0] || document.getElementById('ch-go').innerText !== b[1]",
            arg=list(before),
        )
        if page.locator("#ch-count").inner_text() == "All steps done":
            break
    expect(page.locator("#ch-end")).to_contain_text("cone moved")
    told = re.compile(
        r"greatest rise: planned [\d.]+ \([\d.]+ to [\d.]+\) K, done [\d.]+ \([\d.]+ to [\d.]+\) K; limit 10 K"
    )
    expect(page.locator("#ch-end")).to_contain_text(told, timeout=45_000)
    silent = "[...document.querySelectorAll('#ch-end td')].filter(c => /^\\d/.test(c.textContent) && !c.querySelector('.num')).length"
    assert page.evaluate(silent) == 0, "every number of the debrief answers"
    page.locator("#ch-end .num").nth(1).focus()
    page.keyboard.press("Enter")
    expect(page.locator("#where")).to_contain_text("what was really done")
    page.keyboard.press("Escape")
    expect(page.locator("#ch-end .num").nth(1)).to_be_focused()
    expect(page.locator("#ch-tooth-now svg")).to_be_visible()
    page.keyboard.press("Backspace")
    expect(page.locator("#ch-step")).to_be_visible()


def test_an_edit_meanwhile_is_told_and_answered(page: Page) -> None:
    _begin(page, "chair")
    page.keyboard.press("Space")
    expect(page.locator("#ch-older")).to_be_hidden()
    other = page.context.new_page()
    other.set_default_timeout(45_000)
    other.goto((page.locator("#ch-leave").get_attribute("href") or "").split("?")[0].replace("/plan", "/measure"))
    length = other.get_by_label("Working length, mm")
    length.fill(f"{float(length.input_value()) - 1:.1f}")
    length.press("Tab")
    other.wait_for_timeout(600)
    other.get_by_role("button", name="Plan this canal").click()
    other.wait_for_url("**/plan**", timeout=120_000)
    expect(page.locator("#ch-older")).to_contain_text("edited after this session began", timeout=120_000)
    count, was = page.locator("#ch-count").inner_text(), page.url
    page.get_by_role("button", name="Plan the rest from the edited case").click()
    page.wait_for_url(lambda url: url != was, timeout=120_000)
    expect(page.locator("#ch-count")).to_have_text(count, timeout=120_000)
    expect(page.locator("#ch-older")).to_be_hidden()
    page.goto(was)
    page.get_by_role("button", name="Keep this plan").click()
    expect(page.locator("#ch-older")).to_be_hidden()
    other.close()


def test_no_serious_finding_of_axe_at_the_chair(page: Page) -> None:
    _begin(page, "chair")
    found = Axe().run(
        page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
    )
    serious = [v for v in found.response["violations"] if v["impact"] in ("serious", "critical")]
    assert serious == [], "\n".join(f"{v['id']}: {[n['html'][:160] for n in v['nodes'][:3]]}" for v in serious)


def test_large_enough_for_two_metres(page: Page, tmp_path: Path) -> None:
    """A digit 20 mm tall is read from far more than two metres; on a screen of 96 dots to the inch that is a font of over 100 px."""
    sizes = [
        page.evaluate(f"parseFloat(getComputedStyle(document.getElementById('{i}')).fontSize)")
        for i in ("ch-depth", "ch-clock")
    ]
    assert min(sizes) >= 100
