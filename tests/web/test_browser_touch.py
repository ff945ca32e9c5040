"""By fingers alone on a tablet: from an empty page to a card, the filling played, the chair stepped through, a film brought nearer.

What is pressed on the way is large enough for a gloved finger.
"""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from tests.assessment import demo
from tests.support.browser import SLOW, load_film, planned
from tests.support.fingers import small, swipe, tablet, within

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_chair")]


def test_from_an_empty_page_to_the_chair_by_fingers_alone(chromium: Browser, address: str, tmp_path: Path) -> None:
    page, tiny = tablet(chromium, address), dict[str, list[str]]()
    page.set_default_timeout(SLOW)
    page.goto("/")
    expect(page.get_by_role("link", name="Write a case")).to_be_visible()
    tiny["start"] = small(page)
    page.get_by_role("link", name="Write a case").tap()
    page.wait_for_url("**/measure")
    page.get_by_label(re.compile("^Finishing file")).select_option("35")
    for name, value in (("Working length, mm", "20.5"), ("Its taper", "0.04")):
        field = page.get_by_label(re.compile(f"^{name}"))
        field.tap()
        field.fill(value)  # the keyboard on the screen is the system's own, and so is the list to choose from
    tiny["measure"] = small(page)
    page.get_by_role("button", name="Plan this canal").tap()
    planned(page)
    tiny["plan"] = small(page)
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Card (PDF)").tap()
    assert Path(waiting.value.path()).read_bytes().startswith(b"%PDF")

    page.get_by_role("link", name="Play", exact=True).tap()
    expect(page.locator("html[data-player=ready]")).to_be_attached()
    tiny["play"] = small(page)
    scrub = page.locator(".transport input[type=range]").first
    swipe(page, [within(scrub, 0.02, 0.5), within(scrub, 0.6, 0.5)])
    page.wait_for_function("Number(document.getElementById('clock').textContent) > 5")  # the finger scrubs the time
    stage, before = page.locator(".stage svg"), page.locator(".cursor output").inner_text()
    swipe(page, [within(stage, 0.5, 0.3), within(stage, 0.52, 0.32)])
    expect(page.locator(".cursor output")).not_to_have_text(before)  # the finger moves the cursor

    page.get_by_role("link", name=re.compile("^Chair")).first.tap()
    page.get_by_role("button", name="Begin").tap()
    expect(page.locator("#ch-words")).to_contain_text("Try the cone in")
    tiny["chair"] = small(page)
    page.get_by_role("button", name="Something happened").tap()
    tiny["what happened"] = small(page)
    depth = float(page.locator("#ch-depth").inner_text())
    page.get_by_role("button", name="half a millimetre more").tap()
    page.get_by_role("button", name="Note this depth").tap()
    expect(page.locator("#ch-depth")).to_have_text(f"{depth + 0.5:.1f}")
    for words in ("Place", "Sear", "cool"):
        page.locator("#ch-go").tap()
        expect(page.locator("#ch-words")).to_contain_text(words)
    page.locator("#ch-go").tap()
    expect(page.locator("#ch-go")).to_have_text("Stop: done")
    page.locator("#ch-go").tap()
    expect(page.locator("#ch-words")).to_contain_text("Heat")
    page.get_by_role("button", name="Back").tap()
    expect(page.locator("#ch-words")).to_contain_text("cool")

    page.get_by_role("link", name="Leave").tap()
    page.get_by_role("link", name=re.compile("^Check")).first.tap()
    expect(page.locator("html[data-film=ready]")).to_be_attached()
    tiny["check"] = small(page)
    demo.write(demo.radiograph(), tmp_path / "after.png")
    load_film(page, tmp_path / "after.png")
    film = page.locator("#rg-stage")
    far = "(() => { const [a, b] = [[0, 0], [100, 0]].map((p) => cwScreen(p)); return b[0] - a[0]; })()"
    wide = page.evaluate(far)
    swipe(page, [within(film, 0.45, 0.5), within(film, 0.2, 0.5)], [within(film, 0.55, 0.5), within(film, 0.8, 0.5)])
    page.wait_for_function(f"wide => {far} > 1.5 * wide", arg=wide)  # two fingers bring the film nearer
    page.context.close()
    assert {where: found for where, found in tiny.items() if found} == {}
