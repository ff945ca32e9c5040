"""The heat page in a real browser: run, watch, give up, play, read a place, save the film; names for everything (axe), in Spanish too."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import Browser, Page, expect

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_heat")]
SLOW = 240_000


@pytest.fixture
def page(chromium: Browser, address: str) -> Iterator[Page]:
    context = chromium.new_context(viewport={"width": 1440, "height": 1000}, base_url=address)
    made = context.new_page()
    made.set_default_timeout(SLOW)
    complaints: list[str] = []
    made.on("pageerror", lambda error: complaints.append(str(error)))
    yield made
    context.close()
    assert complaints == []


def opened(page: Page) -> None:
    """The heat page of the demo case's first canal."""
    page.goto("/demo")
    page.wait_for_url("**/plan*")
    page.goto(page.url.split("?")[0].replace("/plan", "/heat"))
    expect(page.locator("#run")).to_be_visible(timeout=SLOW)


def test_run_play_read_and_save(page: Page, tmp_path: Path) -> None:
    opened(page)
    page.locator("#run").click()
    page.wait_for_function(
        "document.documentElement.dataset.heat === 'film' || document.documentElement.dataset.heat === 'done'"
    )
    expect(page.locator("#share")).not_to_have_attribute("value", "0")
    painted = (
        "() => { const c = document.getElementById('section-a'); return [c.width, c.height, c.toDataURL().length] }"
    )
    wide, high, size = page.evaluate(painted)
    assert wide > 20 and high > wide and size > 500
    page.wait_for_function("document.documentElement.dataset.heat === 'done'")
    told = page.locator("#heat-told")
    expect(told.locator("table").first).to_contain_text("Greatest rise on the root surface", timeout=SLOW)
    assert told.locator("table").nth(1).locator("tbody tr").count() > 12
    before = page.evaluate(painted)
    page.locator("#scrub").fill("20")
    assert page.locator("#clock").inner_text() != "0.0"
    assert page.evaluate(painted) != before
    page.locator("#field").select_option("cem43")
    expect(page.locator("#scale-map-name")).to_have_text("CEM43, min")
    page.locator("#map").focus()
    page.keyboard.press("ArrowUp")
    expect(page.locator("#at")).to_contain_text("greatest rise, K")
    found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]})
    assert [v["id"] for v in found.response["violations"] if v["impact"] in ("serious", "critical")] == []
    with page.expect_download() as waiting:
        page.locator("#gif").click()
    waiting.value.save_as(tmp_path / "heat.gif")
    with Image.open(tmp_path / "heat.gif") as film:
        assert film.n_frames > 20
    page.screenshot(path=str(tmp_path / "heat.png"), full_page=True)


def test_give_up_and_spanish(page: Page) -> None:
    opened(page)
    page.context.add_cookies([{"name": "cw_language", "value": "es", "url": page.url}])
    page.goto(page.url + "?activation=2.5")
    expect(page.locator("#run")).to_have_text("Calcular")
    page.locator("#run").click()
    expect(page.locator("#give-up")).to_be_enabled(timeout=SLOW)
    page.locator("#give-up").click()
    expect(page.locator("#doing")).to_have_text("abandonado", timeout=SLOW)
    expect(page.locator("#run")).to_be_enabled()
