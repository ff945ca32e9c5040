"""The records in a real browser: first user, sign-in, a plan kept, a recall entered, outcomes shown, signed out.

And no serious finding of axe on any of the screens.
"""

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect
from playwright.sync_api import Error as PlaywrightError

from canalwright.records import Cost, Passphrase, Store
from tests.support.browser import browser, free_port

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("records_page")]
SLOW = 45_000
SECRET, PASSWORD = "green teapot walks over rivers", "violet bicycle under a bridge"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as opened:
        yield opened


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A server with fresh records; gives the address that it printed, which adds the first user."""
    folder = tmp_path_factory.mktemp("records")
    Store.create(folder / "home", Passphrase(SECRET), cost=Cost(1, 8, 1)).close()
    code = "from canalwright.cli import main; main()"
    command = [
        sys.executable,
        "-c",
        code,
        "serve",
        "--no-open",
        "--port",
        str(free_port()),
        "--records",
        folder / "home",
    ]
    environment = os.environ | {"CANALWRIGHT_PASSPHRASE": SECRET, "CANALWRIGHT_DATA": str(folder / "data")}
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as process:
        try:
            assert process.stdout is not None
            said = process.stdout.readline()
            found = re.search(r"http://\S+", said)
            assert found, said
            yield found[0]
        finally:
            process.terminate()


def _axe(page: Page) -> None:
    found = Axe().run(page, options={"runOnly": RULES})
    serious = [v for v in found.response["violations"] if v["impact"] in ("serious", "critical")]
    assert serious == [], f"{page.url}: " + "\n".join(
        f"{v['id']}: {v['help']}: {[n['html'][:160] for n in v['nodes'][:3]]}" for v in serious
    )


def test_from_the_first_user_to_the_outcomes(chromium: Browser, address: str) -> None:
    place = address.partition("/records")[0]
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, base_url=place)
    page = context.new_page()
    page.set_default_timeout(SLOW)
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda m: complaints.append(m.text) if "Content Security Policy" in m.text else None)

    for _ in range(100):  # it prints its address before it listens
        try:
            page.goto(address)
            break
        except PlaywrightError:
            page.wait_for_timeout(300)
    page.get_by_label("Name").fill("ann")
    page.get_by_label("New password", exact=True).fill(PASSWORD)
    page.get_by_label("New password again").fill(PASSWORD)
    _axe(page)
    page.get_by_role("button", name="Add the first user").click()

    page.goto("/demo")
    expect(page).to_have_url(re.compile("/records/sign-in"))
    _axe(page)
    page.get_by_label("Name").fill("ann")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page).to_have_url(re.compile("/case/.*/0/plan"))
    expect(page.locator(".state.whole")).to_be_visible(timeout=SLOW)
    expect(page.get_by_role("navigation", name="Records")).to_contain_text("ann")

    page.get_by_role("link", name="Keep in the records").click()
    expect(page.get_by_role("heading", name="Keep in the records")).to_be_visible()
    _axe(page)
    page.get_by_label("Periapical index before").select_option("4")
    page.get_by_label("Name", exact=True).fill("Ada Invented")
    page.get_by_role("button", name="Keep this plan").click()
    expect(page.get_by_role("heading", name="Plans")).to_be_visible()
    page.get_by_label("Filled on").fill("2025-01-10")
    page.get_by_role("button", name="The tooth is filled").click()
    _axe(page)
    page.get_by_role("link", name="Enter a recall").click()
    page.get_by_label("not tender").check()
    page.get_by_label("root 1, first reader").select_option("2")
    _axe(page)
    page.get_by_role("button", name="Keep the recall").click()
    expect(page.locator(".facts")).to_contain_text("healed")
    page.get_by_role("link", name="mesiobuccal", exact=True).first.click()
    expect(page.locator(".state.whole")).to_be_visible(timeout=SLOW)

    page.goto("/records/")
    _axe(page)
    page.get_by_role("link", name="Outcomes").click()
    expect(page.locator("svg.cw-outcomes").first).to_be_visible()
    expect(page.locator("body")).to_contain_text("too few")
    page.locator(".num").first.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#where")).to_contain_text("Counted in these records")
    page.keyboard.press("Escape")
    _axe(page)
    for name in ("Recalls", "Keeping", "Users", "Your account"):
        page.get_by_role("link", name=name, exact=True).click()
        _axe(page)
    page.get_by_role("button", name="Sign out").click()
    expect(page).to_have_url(re.compile("/records/sign-in"))
    page.goto("/")
    expect(page).to_have_url(re.compile("/records/sign-in"))
    context.close()
    assert complaints == []


def test_backup_was_made_at_the_start(address: str, tmp_path_factory: pytest.TempPathFactory) -> None:
    found = list(tmp_path_factory.getbasetemp().glob("records*/home/backups/*.backup"))
    assert found
    assert all(isinstance(f, Path) and f.stat().st_size for f in found)
