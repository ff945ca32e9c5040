"""A case taken away as one archive and opened again, elsewhere too, is the same with its radiographs; the evidence can be searched."""

import signal
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.support import film
from tests.support.browser import SLOW, Server, browser, coming_back, film_answered, load_film, planned, until
from tests.support.film_marks import mark_film

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_archive")]


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
    planned(page)
    was = page.url
    drawn = film.film()
    page.set_viewport_size({"width": 1440, "height": 1000})
    page.goto(was.replace("/plan", "/radiograph"))
    expect(page.locator("html[data-film=ready]")).to_be_attached()
    load_film(page, drawn.save(tmp_path / "Ada-Invented.png"))
    mark_film(page, drawn)
    expect(page.get_by_text("canal as marked")).to_be_visible()
    told = page.locator("[aria-labelledby=h-told]").inner_text()
    page.set_viewport_size({"width": 820, "height": 1180})
    page.goto(was)
    with page.expect_download() as waiting:
        page.get_by_role("link", name="All of the case (ZIP)").click()
    packed = tmp_path / "case.zip"
    waiting.value.save_as(packed)
    with zipfile.ZipFile(packed) as archive:
        names = archive.namelist()
        assert not any(b"Ada" in archive.read(name) for name in names)
    assert [n[-4:] for n in names if n.startswith("film/")] == [".png", "json"]
    _elsewhere(page, packed, was, told, tmp_path)
    assert {"case.toml", "made/card-distal.pdf", "made/plan-distal.json", "made/section-distal.svg"} <= set(names)
    page.goto("/")
    page.locator("#file").set_input_files(packed)
    page.wait_for_url(was)
    cut = tmp_path / "cut.zip"
    cut.write_bytes(packed.read_bytes()[:2000])
    page.goto("/")
    page.locator("#file").set_input_files(cut)
    expect(page.get_by_role("alert")).to_contain_text("cut.zip: this archive is refused")


def _elsewhere(page: Page, packed: Path, was: str, told: str, folder: Path) -> None:
    """On another machine the film lies there with its marks, which say the same; a damaged film is told in one line."""
    with zipfile.ZipFile(packed) as archive:
        picture = next(archive.read(n) for n in archive.namelist() if n.endswith(".png"))
    data = packed.read_bytes()
    at = data.index(picture[:64]) if picture[:64] in data else data.index(b".png") + 60
    cut = folder / "damaged.zip"
    cut.write_bytes(data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :])
    there = Server(data=folder / "there")
    there.start()
    try:
        page.goto(there.address)
        page.locator("#file").set_input_files(cut)
        expect(page.get_by_role("alert")).to_contain_text("damaged.zip: this archive is refused")
        assert len(page.locator("#problems li").all()) == 1
        page.locator("#file").set_input_files(packed)
        page.wait_for_url("**/plan")
        page.goto(page.url.replace("/plan", "/radiograph"))
        _film_is_there(page, told)
        with coming_back(page):
            there.stop(signal.SIGKILL)
            there.start()
        _film_is_there(page, told)
        _after_a_crash(page, there.address, told, folder / "there" / "films")
    finally:
        there.stop()


def _after_a_crash(page: Page, address: str, told: str, films: Path) -> None:
    """The start lists the case, its film comes back with all marks; closing the case erases it from the disk."""
    page.goto(address)
    page.locator(".open-cases a").click()
    page.wait_for_url("**/plan")
    page.goto(page.url.replace("/plan", "/radiograph"))
    _film_is_there(page, told)
    page.goto(address)
    page.once("dialog", lambda dialog: dialog.accept())
    assert len(list(films.iterdir())) == 2
    page.get_by_role("button", name="Close 46").click()
    expect(page.locator(".open-cases")).to_have_count(0)
    assert not list(films.iterdir())


def _film_is_there(page: Page, told: str) -> None:
    film_answered(page)
    expect(page.locator("#rg-n-canal")).to_have_text("8")
    expect(page.get_by_text("canal as marked")).to_be_visible()
    assert page.locator("[aria-labelledby=h-told]").inner_text() == told


def test_a_case_that_is_edited_outlasts_a_crash(page: Page, tmp_path: Path) -> None:
    """Nothing is pressed: a width is typed, the server is killed, and the same address shows it; a form half filled is there too."""
    running = Server(data=tmp_path)
    running.start()
    try:
        page.goto(f"{running.address}/demo")
        page.wait_for_url("**/plan")
        page.goto(page.url.replace("/plan", "/measure"))
        opened = page.url
        page.locator("#f-orifice_width").fill("1.23")
        page.wait_for_function("was => location.href !== was", arg=opened)
        edited = str(page.evaluate("location.href"))
        writing = page.context.new_page()
        writing.set_default_timeout(SLOW)
        writing.goto(f"{running.address}/measure")
        _typed(writing, name="palatal", working_length="19.5")
        writing.wait_for_url("**/measure/*")
        _written(tmp_path / "cases", "1.23")
        _written(tmp_path / "forms", "19.5")
        with coming_back(page, writing):
            running.stop(signal.SIGKILL)
            running.start()
        assert page.url == edited
        expect(page.locator("#f-orifice_width")).to_have_value("1.23")
        page.goto(opened)
        expect(page.locator(".older a")).to_have_attribute("href", edited.removeprefix(running.address))
        writing.goto(running.address)
        writing.locator(".open-cases a[href^='/measure/']").click()
        expect(writing.locator("#f-working_length")).to_have_value("19.5")
        _typed(writing, size="30", taper="6 %")
        writing.wait_for_url("**/case/*/0/measure")
        expect(writing.locator("h1.name")).to_contain_text("palatal")
        writing.close()
        page.goto(running.address)
        expect(page.locator(".open-cases a")).to_have_count(2)
        page.once("dialog", lambda dialog: dialog.accept())
        page.locator(f"[data-close='{edited.split('/')[4]}']").click()
        expect(page.locator(".open-cases a")).to_have_count(1)
        page.goto(edited)
        expect(page.get_by_role("heading", name="This case is not open any more")).to_be_visible()
    finally:
        running.stop()


def _written(folder: Path, text: str) -> None:
    """Pages go on before what was typed is on the disk."""
    until(lambda: any(text.encode() in path.read_bytes() for path in folder.glob("*.json")), f"{text} in {folder}")


def _typed(page: Page, **values: str) -> None:
    for field, value in values.items():
        entry = page.locator(f"#f-{field}")
        entry.select_option(value) if field == "size" else entry.fill(value)


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
