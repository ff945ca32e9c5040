"""Long work in a real browser: a plan under way says so, is cancelled and made after all; the moving picture too, with progress."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Page, Route, expect

from tests.support.browser import SLOW, Server, browser, caught, planned, taken_in

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_waiting")]
SHARES = """() => {
  window.shares = [];
  const bar = document.getElementById("moving-share");
  new MutationObserver(() => shares.push(bar.value)).observe(bar, { attributes: true, attributeFilter: ["value"] });
}"""
"""Write down how far the moving picture was each time that the page told it."""


@pytest.fixture(scope="module")
def page(served: Server) -> Iterator[Page]:
    with browser() as chromium:
        made = chromium.new_page(viewport={"width": 1440, "height": 900}, base_url=served.address)
        made.set_default_timeout(SLOW)
        yield made


def test_a_plan_is_cancelled_and_made_after_all(page: Page, served: Server) -> None:
    cancel = page.locator(".state").get_by_role("button", name="Cancel")
    with served.standing():
        page.goto("/demo")
        cancel.click()
        expect(page.locator(".state.stopped")).to_contain_text("nothing was planned yet")
    page.evaluate(
        "window.heard = []; { const was = canalwright.progress; canalwright.progress = (text) => { heard.push(text); was(text); }; }"
    )
    page.get_by_role("button", name="Go on after all").click()
    planned(page)
    heard = [text for text in page.evaluate("heard") if text]
    assert heard and all(re.fullmatch(r"[a-z ]+ \d{1,3} %", text) for text in heard), "how far it is is told"
    before = page.locator(".headline-box").inner_text()
    with served.standing():
        page.get_by_label("Press force").fill("35")
        page.wait_for_function("b => document.querySelector('.headline-box').innerText !== b", arg=before)
        cancel.click()
        expect(page.locator(".state.stopped")).to_contain_text("the quick answer, not the whole plan")
    page.get_by_role("button", name="Go on after all").click()
    planned(page)


SHORT = "?rounds=2&pause=2"
"""A filling that takes half as long, and so does its picture."""


def test_the_moving_picture_is_given_up_then_saved(page: Page, served: Server, tmp_path: Path) -> None:
    """That it is begun again is not undone by what is told late of the one that was given up."""
    page.goto("/demo")
    page.wait_for_url("**/plan*")
    page.goto(page.url.split("?")[0].replace("/plan", "/play") + SHORT)
    expect(page.locator("html[data-player=ready]")).to_be_attached()
    make, cancel = page.get_by_role("button", name="Moving picture (GIF)"), page.locator("#moving-cancel")
    held: list[Route] = []
    page.route("**/moving/state.json*", lambda route: held.append(route), times=1)
    with served.standing():
        make.click()
        late = caught(page, held)
        cancel.click()
        expect(page.locator("#moving-told")).to_have_text("Cancelled: no picture was made")
    page.evaluate(SHARES)
    with page.expect_download() as waiting:
        with page.expect_response("**/moving/start*"):
            make.click()
        taken_in(page)
        late.fulfill(json={"state": "cancelled", "share": None, "told": "", "error": ""})
    waiting.value.save_as(tmp_path / "filling.gif")
    with Image.open(tmp_path / "filling.gif") as film:
        assert film.n_frames > 20  # type: ignore[attr-defined]
    expect(page.locator("#moving-told")).to_have_text("Ready: it is being saved")
    assert page.evaluate("shares.some((share) => share > 0)"), "how far it is is told"
    page.screenshot(path=str(tmp_path / "play.png"), full_page=True)
