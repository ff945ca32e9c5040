"""The heat page in a real browser: run, give up, play, read a place, save the film, see it on the root; names (axe), in Spanish too."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, Route, expect

from tests.support.browser import SLOW, caught, no_finding, taken_in

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_heat")]


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


SHORT = "?rounds=2&pause=2"
"""A filling that takes half as long, and so does its run."""


def opened(page: Page, choices: str = "") -> None:
    """The heat page of the demo case's first canal."""
    page.goto("/demo")
    page.wait_for_url("**/plan*")
    page.goto(page.url.split("?")[0].replace("/plan", "/heat") + choices)
    expect(page.locator("#run")).to_be_visible()


def test_run_play_read_and_save(page: Page, tmp_path: Path) -> None:
    opened(page, SHORT)
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
    expect(told.locator("table").first).to_contain_text("Greatest rise on the root surface")
    assert told.locator("table").nth(1).locator("tbody tr").count() > 12
    rise = told.locator("table").first.locator(".num .value").first.inner_text()
    assert told.locator("table").nth(1).locator(".num .value").first.inner_text() == rise, "as planned is the run above"
    told.locator("table").nth(1).locator(".num").first.click()
    expect(page.locator("#where")).to_contain_text("on coarser cells")
    page.keyboard.press("Escape")
    told.locator(".num").first.click()
    expect(page.locator("#where")).to_contain_text("Transient bioheat in three dimensions")
    page.screenshot(path=str(tmp_path / "where.png"))
    page.keyboard.press("Escape")
    expect(told.locator(".num").first).to_be_focused()
    grid = told.get_by_role("grid", name="What if?")
    assert grid.locator(".num").count() > 60 and grid.locator(".num[tabindex='0']").count() == 1, (
        "one stop of the Tab key"
    )
    grid.locator(".num").first.focus()
    for key in ("ArrowDown", "ArrowRight", "End", "ArrowUp", "Home", "ArrowRight"):
        page.keyboard.press(key)
    expect(grid.locator("tbody tr").first.locator(".num").nth(1)).to_be_focused()
    before = page.evaluate(painted)
    page.locator("#scrub").fill("20")
    assert page.locator("#clock").inner_text() != "0.0"
    assert page.evaluate(painted) != before
    page.locator("#field").select_option("cem43")
    expect(page.locator("#scale-map-name")).to_have_text("CEM43, min")
    page.locator("#map").focus()
    page.keyboard.press("ArrowUp")
    expect(page.locator("#at")).to_contain_text("greatest rise, K")
    no_finding(page)
    with page.expect_download() as waiting:
        page.locator("#gif").click()
    waiting.value.save_as(tmp_path / "heat.gif")
    with Image.open(tmp_path / "heat.gif") as film:
        assert film.n_frames > 20
    page.screenshot(path=str(tmp_path / "heat.png"), full_page=True)
    on_the_root(page, tmp_path)


def on_the_root(page: Page, folder: Path) -> None:
    """The view in three dimensions shows the temperature by direction from the run that there is, and says which model it shows."""
    page.goto(page.url.replace("/heat", "/solid"))  # with the same choices
    expect(page.locator("html[data-model=direction]")).to_be_attached()
    expect(page.get_by_label("by direction: run in three dimensions")).to_be_checked()
    expect(page.locator("#to-heat")).to_be_hidden()
    expect(page.locator("#rise")).to_contain_text("5–95 %")
    expect(page.locator("#warmest")).to_contain_text("from the greatest width")
    pixels = "canalwright.solid.solid.bodies.get('root').material.uniforms.map.value.image"
    assert page.evaluate(f"{pixels}.height") == page.evaluate("canalwright.solid.round.sectors") == 24
    before = page.evaluate(f"[...{pixels}.data].join()")
    page.locator("#scrub").fill("20")
    assert page.evaluate(f"[...{pixels}.data].join()") != before
    page.wait_for_timeout(500)
    page.screenshot(path=str(folder / "root.png"), full_page=True)
    page.get_by_label("by level: round model").check()
    assert page.evaluate(f"{pixels}.height") == 1
    expect(page.locator("#warmest")).not_to_contain_text("from the greatest width")


def test_give_up_and_spanish(page: Page) -> None:
    """What was asked before the run was given up, and is answered after it, does not say that it goes on."""
    opened(page)
    held: list[Route] = []
    page.route("**/heat/state.json*", lambda route: held.append(route), times=1)
    page.context.add_cookies([{"name": "cw_language", "value": "es", "url": page.url}])
    page.goto(page.url + "?activation=2.5")
    late = caught(page, held)
    expect(page.locator("#run")).to_have_text("Calcular")
    page.locator("#run").click()
    expect(page.locator("#give-up")).to_be_enabled()
    page.locator("#give-up").click()
    expect(page.locator("#doing")).to_have_text("abandonado")
    late.fulfill(json={"state": "running", "share": 0.5, "doing": "la obturación", "film": False})
    taken_in(page)
    assert page.locator("#doing").inner_text() == "abandonado"
    expect(page.locator("#run")).to_be_enabled()
