"""A case taken away as one archive and opened again is the same case; the evidence can be read and searched in the page."""

import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.support.browser import browser

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_archive")]
SLOW = 45_000


@pytest.fixture(scope="module")
def page(address: str) -> Iterator[Page]:
    with browser() as chromium:
        made = _page(chromium, address)
        yield made


def _page(chromium: Browser, address: str) -> Page:
    page = chromium.new_context(viewport={"width": 820, "height": 1180}, base_url=address).new_page()
    page.set_default_timeout(SLOW)
    return page


def test_a_case_goes_out_as_one_archive_and_comes_back(page: Page, tmp_path: Path) -> None:
    page.goto("/demo")
    expect(page.locator(".state.whole")).to_be_visible(timeout=SLOW)
    was = page.url
    with page.expect_download(timeout=2 * SLOW) as waiting:
        page.get_by_role("link", name="All of the case (ZIP)").click()
    packed = tmp_path / "case.zip"
    waiting.value.save_as(packed)
    with zipfile.ZipFile(packed) as archive:
        names = archive.namelist()
    assert {"case.toml", "made/card-distal.pdf", "made/plan-distal.json", "made/section-distal.svg"} <= set(names)
    page.goto("/")
    page.locator("#file").set_input_files(packed)
    page.wait_for_url(was)
    cut = tmp_path / "cut.zip"
    cut.write_bytes(packed.read_bytes()[:2000])
    page.goto("/")
    page.locator("#file").set_input_files(cut)
    expect(page.get_by_role("alert")).to_contain_text("cut.zip: this archive is refused")


def test_the_evidence_can_be_searched(page: Page) -> None:
    page.goto("/evidence")
    expect(page.locator("h1")).to_have_text("Evidence")
    every = page.locator("details tr[data-row]").count()
    assert every > 300
    page.get_by_label("Find in the evidence").fill("frustum 40/0.06")
    expect(page.locator("#found")).to_have_text("1 rows")
    expect(page.locator("details tr[data-row]:visible")).to_have_count(1)
    found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]})
    assert [v["id"] for v in found.response["violations"] if v["impact"] in ("serious", "critical")] == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth + 1")
