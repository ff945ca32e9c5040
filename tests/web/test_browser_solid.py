"""A case without a scan in three dimensions, and its section brought nearer; neither waits for a plan."""

import re
from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.support.browser import SLOW, browser, server

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_solid")]
BOX = "document.querySelector('.picture svg.cw-section').viewBox.baseVal.height"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    with server(data=tmp_path_factory.mktemp("data")) as address, browser() as chromium:
        made = chromium.new_page(viewport={"width": 1440, "height": 900}, base_url=address)
        made.set_default_timeout(SLOW)
        complaints: list[str] = []
        made.on("pageerror", lambda error: complaints.append(str(error)))
        made.goto("/demo")
        made.wait_for_url(re.compile("/plan"))
        yield made
        assert complaints == []


def _go(page: Page, stage: str) -> None:
    page.goto(re.sub(r"/[a-z]+(\?.*)?$", f"/{stage}", page.url))


def test_a_case_without_a_scan_is_built_from_its_measurements(page: Page) -> None:
    _go(page, "solid")
    expect(page.locator("html[data-solid]")).to_be_attached()
    page.wait_for_function("canalwright.solid.solid.drawn > 0")
    assert page.evaluate("canalwright.solid.solid.triangles(0)") > 200_000
    assert page.evaluate("canalwright.solid.solid.triangles(canalwright.solid.solid.coarsest)") < 5_000
    before = page.evaluate("[...canalwright.solid.solid.turn]")
    canvas = page.locator("#solid canvas")
    canvas.press("ArrowUp")
    box = canvas.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 200, box["y"] + 200)
    page.mouse.down()
    page.mouse.move(box["x"] + 260, box["y"] + 200, steps=3)
    page.mouse.up()
    after = page.evaluate("[...canalwright.solid.solid.turn]")
    assert after[0] != before[0] and after[1] != before[1]
    page.get_by_label("Cut open").check()
    page.get_by_label("Root", exact=True).uncheck()
    canvas.press("Home")
    assert page.evaluate("[...canalwright.solid.solid.turn]") == before


def test_the_section_comes_nearer_and_its_ruler_stays_in_sight(page: Page) -> None:
    _go(page, "measure")
    depth = page.get_by_label("Depth", exact=True)
    expect(depth).to_be_enabled()
    whole = page.evaluate(BOX)
    for _ in range(3):
        page.get_by_role("button", name="Larger").click()
    assert page.evaluate(BOX) == pytest.approx(whole / 1.5**3)
    sizes = page.evaluate(
        "[...document.querySelectorAll('.cw-near text')].map((t) => t.getBoundingClientRect()).map((r) => [r.height, r.left])"
    )
    left = page.evaluate("document.querySelector('.picture svg.cw-section').getBoundingClientRect().left")
    assert len(sizes) > 4 and all(11 < height < 26 for height, _ in sizes), "as large as the page's own words"
    assert sum(x - left < 80 for _, x in sizes) > 3
    depth.fill("15.0")
    expect(page.locator("#o-zoom-depth")).to_have_text("15.0 mm")
    expect(page.locator("#zoom-values")).to_contain_text(
        re.compile(r"dentine left\s*\d\.\d\d mm \(\d\.\d\d–\d\.\d\d\)")
    )
    page.get_by_role("button", name="The whole section").click()
    assert page.evaluate(BOX) == pytest.approx(whole)


@pytest.mark.parametrize("stage", ["solid", "measure"])
def test_no_serious_finding_of_axe(page: Page, stage: str) -> None:
    _go(page, stage)
    if stage == "solid":
        expect(page.locator("html[data-solid]")).to_be_attached()
    else:
        expect(page.get_by_label("Depth", exact=True)).to_be_enabled()
    page.wait_for_function("document.getAnimations().every((a) => a.playState !== 'running')")
    told = Axe().run(
        page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
    )
    serious = [v for v in told.response["violations"] if v["impact"] in ("serious", "critical")]
    assert serious == [], "\n".join(
        f"{v['id']}: {v['help']}: {[n['html'][:160] for n in v['nodes'][:3]]}" for v in serious
    )
