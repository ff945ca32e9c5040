"""The records in a real browser: first user, sign-in, a plan kept, a recall entered, outcomes shown, signed out.

A film read by a second reader, a person erased. And no serious or moderate finding of axe on any of the screens.
"""

import io
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, expect
from playwright.sync_api import Error as PlaywrightError

from canalwright.records import Cost, Kind, Passphrase, Store
from tests.support.browser import SLOW, browser, free_port, no_finding

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("records_page")]
SECRET, PASSWORD = "green teapot walks over rivers", "violet bicycle under a bridge"
READ = {"on": "2026-01-10", "blind": True, "index": {"mesial": {"bea": 3}, "distal": {"bea": 2}}}
"""A recall whose film somebody else has read, and waits for a second reader."""


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as opened:
        yield opened


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A server with fresh records; gives the address that it printed, which adds the first user."""
    folder = tmp_path_factory.mktemp("records")
    with Store.create(folder / "home", Passphrase(SECRET), cost=Cost(1, 8, 1)) as store:
        case = store.cases.open(store.patients.add("bea"), {"tooth": 11, "index_before": 4}, "bea")
        store.cases.record(case, Kind.CHECK, {"on": "2025-01-10"}, "bea")
        film = io.BytesIO()
        Image.new("L", (30, 40), 120).save(film, "PNG")
        kept = store.images.attach(case, film.getvalue(), "recall 2026-01-10", "bea")
        store.cases.record(case, Kind.RECALL, READ | {"images": [kept]}, "bea")
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


def test_from_the_first_user_to_the_outcomes(chromium: Browser, address: str) -> None:
    place = address.partition("/records")[0]
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, base_url=place)
    page = context.new_page()
    page.set_default_timeout(SLOW)
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda m: complaints.append(m.text) if "Content Security Policy" in m.text else None)

    for _ in range(SLOW // 300):  # it prints its address before it listens
        try:
            page.goto(address)
            break
        except PlaywrightError:
            page.wait_for_timeout(300)
    page.get_by_label("Name").fill("ann")
    page.get_by_label("New password", exact=True).fill(PASSWORD)
    page.get_by_label("New password again").fill(PASSWORD)
    no_finding(page)
    page.get_by_role("button", name="Add the first user").click()

    page.goto("/demo")
    expect(page).to_have_url(re.compile("/records/sign-in"))
    no_finding(page)
    page.get_by_label("Name").fill("ann")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page).to_have_url(re.compile("/case/.*/0/plan"))
    expect(page.locator(".state.whole")).to_be_visible()
    case = "/".join(page.url.split("/")[:5])
    expect(page.get_by_role("navigation", name="Records")).to_contain_text("ann")

    page.get_by_role("link", name="Keep in the records").click()
    expect(page.get_by_role("heading", name="Keep in the records")).to_be_visible()
    no_finding(page)
    page.get_by_label("Periapical index before").select_option("4")
    page.get_by_label("Name", exact=True).fill("Ada Invented")
    page.get_by_role("button", name="Keep this plan").click()
    expect(page.get_by_role("heading", name="Plans")).to_be_visible()
    page.get_by_label("Filled on").fill("2025-01-10")
    page.get_by_role("button", name="The tooth is filled").click()
    no_finding(page)
    page.get_by_role("link", name="Enter a recall").click()
    page.get_by_label("not tender").check()
    page.get_by_label("root 1, first reader").select_option("2")
    no_finding(page)
    page.get_by_role("button", name="Keep the recall").click()
    expect(page.locator(".facts")).to_contain_text("healed")
    page.get_by_role("link", name="mesiobuccal", exact=True).first.click()
    expect(page.locator(".state.whole")).to_be_visible()

    page.goto("/records/")
    no_finding(page)
    row = page.get_by_role("row").filter(
        has=page.locator("b.tooth", has_text=re.compile("^11"))
    )  # a pseudonym may hold 11 too
    row.get_by_role("link").click()
    page.get_by_role("link", name="as second reader").click()
    expect(page.get_by_role("img", name="Film 1")).to_have_js_property("naturalWidth", 30)
    no_finding(page)
    page.get_by_label("mesial").select_option("2")
    page.get_by_label("distal").select_option("2")
    page.get_by_role("button", name="Keep the reading").click()
    expect(page.locator("body")).to_contain_text("index of mesial: ann 2, bea 3")
    page.goto("/records/")
    row = page.get_by_role("row").filter(has=page.locator("b.tooth", has_text=re.compile("^46")))
    row.get_by_role("link").click()
    far = chromium.new_context(viewport={"width": 1280, "height": 900}, storage_state=context.storage_state())
    windows = [
        standing(context, f"{case}/0/ready"),
        *(standing(far, f"{case}/0/{view}") for view in ("measure", "plan")),
    ]
    page.get_by_role("link", name="Rules and erasing").click()
    page.get_by_text("Erase this person's data").click()
    no_finding(page)
    page.get_by_label("Who asked for it").fill("the parents")
    page.get_by_label("Pseudonym").fill(
        (page.locator("details .problems").inner_text().split(" are gone")[0]).split()[-1]
    )
    page.get_by_label("Your password").fill("another one of mine")
    page.get_by_role("button", name="Erase for good").click()
    expect(page.get_by_role("alert")).to_contain_text("password or code is wrong")
    expect(page.get_by_label("Who asked for it")).to_have_value("the parents")
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Erase for good").click()
    expect(page.get_by_role("row")).not_to_have_count(0)
    expect(row).to_have_count(0)
    windows[1].locator("#content input[type=text]").first.fill(
        "written after it was erased"
    )  # a machine that heard of nothing
    windows[1].keyboard.press("Tab")
    windows[2].locator("input[data-choice]").first.press("ArrowRight")
    for window in windows:
        expect(window.locator("#content")).to_contain_text("The data of the person this was of has been erased")
        expect(window.locator("#content input")).to_have_count(0)
    no_finding(windows[0])
    far.close()
    page.get_by_role("link", name="Outcomes").click()
    expect(page.locator("svg.cw-outcomes").first).to_be_visible()
    expect(page.locator("body")).to_contain_text("too few")
    page.locator(".num").first.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#where")).to_contain_text("Counted in these records")
    page.keyboard.press("Escape")
    no_finding(page)
    for name in ("Recalls", "Keeping", "Users", "Your account"):
        page.get_by_role("link", name=name, exact=True).click()
        no_finding(page)
    page.get_by_role("button", name="Sign out").click()
    expect(page).to_have_url(re.compile("/records/sign-in"))
    page.goto("/")
    expect(page).to_have_url(re.compile("/records/sign-in"))
    context.close()
    assert complaints == []


def standing(context: BrowserContext, address: str) -> Page:
    """One more window on a case, as long as it stands open."""
    window = context.new_page()
    window.set_default_timeout(SLOW)
    window.goto(address)
    expect(window.locator("main h2").first).to_be_visible()
    return window


def test_backup_was_made_at_the_start(address: str, tmp_path_factory: pytest.TempPathFactory) -> None:
    found = list(tmp_path_factory.getbasetemp().glob("records*/home/backups/*.backup"))
    assert found
    assert all(isinstance(f, Path) and f.stat().st_size for f in found)
