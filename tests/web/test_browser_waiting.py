"""Long work in a real browser: a plan under way says so, is cancelled and made after all; the moving picture too, with progress."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from tests.support.browser import SLOW, browser, server

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_waiting")]


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    with server(data=tmp_path_factory.mktemp("data")) as address, browser() as chromium:
        made = chromium.new_page(viewport={"width": 1440, "height": 900}, base_url=address)
        made.set_default_timeout(SLOW)
        yield made


def test_a_plan_is_cancelled_and_made_after_all(page: Page) -> None:
    page.goto("/demo")
    cancel = page.locator(".state").get_by_role("button", name="Cancel")
    cancel.click()
    expect(page.locator(".state.stopped")).to_contain_text("nothing was planned yet")
    page.evaluate(
        "window.heard = []; { const was = canalwright.progress; canalwright.progress = (text) => { heard.push(text); was(text); }; }"
    )
    page.get_by_role("button", name="Go on after all").click()
    expect(page.locator(".state.whole")).to_be_visible()
    heard = [text for text in page.evaluate("heard") if text]
    assert heard and all(re.fullmatch(r"[a-z ]+ \d{1,3} %", text) for text in heard), "how far it is is told"
    before = page.locator(".headline-box").inner_text()
    page.get_by_label("Press force").fill("35")
    page.wait_for_function("b => document.querySelector('.headline-box').innerText !== b", arg=before)
    cancel.click()
    expect(page.locator(".state.stopped")).to_contain_text("the quick answer, not the whole plan")
    page.get_by_role("button", name="Go on after all").click()
    expect(page.locator(".state.whole")).to_be_visible()


def test_the_moving_picture_is_given_up_then_saved(page: Page, tmp_path: Path) -> None:
    page.goto("/demo")
    page.wait_for_url("**/plan*")
    page.goto(page.url.replace("/plan", "/play"))
    expect(page.locator("html[data-player=ready]")).to_be_attached()
    make, cancel = page.get_by_role("button", name="Moving picture (GIF)"), page.locator("#moving-cancel")
    make.click()
    cancel.click()
    expect(page.locator("#moving-told")).to_have_text("Cancelled: no picture was made")
    with page.expect_download() as waiting:
        make.click()
        page.wait_for_function("document.getElementById('moving-share').value > 0.2")
    waiting.value.save_as(tmp_path / "filling.gif")
    with Image.open(tmp_path / "filling.gif") as film:
        assert film.n_frames > 20  # type: ignore[attr-defined]
    expect(page.locator("#moving-told")).to_have_text("Ready: it is being saved")
    page.screenshot(path=str(tmp_path / "play.png"), full_page=True)
