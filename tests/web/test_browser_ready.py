"""Readiness in a real browser: notes change the verdict and stay with the case, the pad by one finger, the film by mouse and by keys."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from canalwright import casefile
from canalwright.web.held import KEY
from tests.support import film
from tests.support.browser import SLOW, browser, load_film, no_serious_finding, server
from tests.support.film_marks import mark_film

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_ready")]
DESKTOP, TABLET = {"width": 1440, "height": 900}, {"width": 820, "height": 1180}


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    path = tmp_path_factory.mktemp("ready")
    casefile.dump(casefile.demo_case(), path / "demo.toml")
    with server(str(path / "demo.toml"), data=path) as found:
        yield found


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as opened:
        yield opened


def _opened(chromium: Browser, address: str, view: str, canal: int = 2, *, touch: bool = False) -> Page:
    """A page on one canal of the case that the server opened."""
    context = chromium.new_context(viewport=TABLET if touch else DESKTOP, base_url=address, has_touch=touch)  # type: ignore[arg-type]
    page = context.new_page()
    page.set_default_timeout(SLOW)
    page.on("pageerror", lambda error: pytest.fail(f"a script failed: {error}"))
    page.goto(f"/case/{casefile.demo_case().digest[:KEY]}/{canal}/{view}")
    return page


@pytest.fixture
def page(chromium: Browser, address: str) -> Iterator[Page]:
    made = _opened(chromium, address, "ready")
    expect(made.locator(".rd-verdict")).to_be_visible()
    yield made
    made.context.close()


def test_a_note_changes_the_verdict_and_stays_with_the_case(page: Page) -> None:
    expect(page.locator("[data-item='contact time']")).to_contain_text("10 of 12 min")
    expect(page.locator("[data-agrees=yes]")).to_be_visible()
    before = page.url
    page.get_by_label("Length, mm").fill("17")
    page.locator("form[data-note=lengths]").get_by_role("button", name="Add").click()
    expect(page.locator("[data-agrees=no]")).to_contain_text("stands out by")
    expect(page.locator(".rd-verdict")).to_have_attribute("data-verdict", "not_ready")
    assert page.url != before
    page.reload()
    expect(page.locator("[data-item=length]")).to_contain_text("disagree")
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Case file").click()
    text = Path(waiting.value.path()).read_text(encoding="utf-8")
    record = casefile.loads(text).record("distal")
    assert record is not None and record.soundings[-1].value == 17.0 and len(record.soundings) == 3


NEXT = """() => {
  const form = document.querySelector("form[data-note=lengths]"), field = form.querySelector("input[type=text]");
  form.requestSubmit();
  field.value = "18.5";
  field.dispatchEvent(new Event("input", { bubbles: true }));
}"""
"""A length is added, and the next one typed at once."""


def test_a_note_is_taken_back(page: Page) -> None:
    page.get_by_label("Length, mm").fill("17")
    page.evaluate(NEXT)
    expect(page.locator("[data-agrees=no]")).to_be_visible()
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("[data-agrees=yes]")).to_be_visible()
    page.get_by_role("button", name="Take out: radiograph").click()
    expect(page.get_by_role("button", name="Take out: radiograph")).to_have_count(0)
    page.locator("#content").focus()
    page.keyboard.press("Control+z")
    expect(page.get_by_role("button", name="Take out: radiograph")).to_have_count(1)
    expect(page.get_by_label("Length, mm")).to_have_value("18.5")  # typed before the first note was answered: it stays


LATE = """() => {
  const noted = window.canalwright.noted;
  window.canalwright.noted = async (...told) => { await new Promise((next) => setTimeout(next, 400)); noted(...told); };
}"""
"""The address follows late, as on a busy machine."""


def test_a_note_that_is_seen_is_there_when_the_page_is_loaded_anew(page: Page) -> None:
    page.evaluate(LATE)
    page.get_by_label("Length, mm").fill("21.2")
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Take out: apex locator")).to_have_count(2)
    page.reload()
    expect(page.get_by_role("button", name="Take out: apex locator")).to_have_count(2)
    page.get_by_role("button", name="Take out: apex locator").last.click()
    expect(page.get_by_role("button", name="Take out: apex locator")).to_have_count(1)


def test_what_cannot_be_is_told_in_one_line_and_nothing_is_lost(page: Page) -> None:
    page.get_by_label("Length, mm").fill("205")
    page.keyboard.press("Enter")
    expect(page.locator("#e-lengths")).to_contain_text("8 to 42 mm")
    expect(page.get_by_label("Length, mm")).to_have_value("205")
    expect(page.get_by_role("button", name="Take out: apex locator")).to_have_count(1)


def test_the_trade_off_and_the_files(page: Page) -> None:
    expect(page.locator(".rd-curve")).to_be_visible()
    expect(page.locator("#shape tr.chosen").first).to_contain_text("45/0.06")
    page.get_by_label("Its taper").fill("0.08")
    page.keyboard.press("Enter")
    expect(page.locator("#shape .rd-noted")).to_contain_text("25/0.08")
    expect(page.locator("#shape table").last).to_contain_text("25/0.08")
    before = page.locator(".rd-curve").inner_html()
    page.locator("[data-use-length]").click()
    page.wait_for_function("was => document.querySelector('.rd-curve')?.innerHTML !== was", arg=before)  # laid anew


def test_a_sequence_that_must_not_be_is_refused_with_the_reason(page: Page) -> None:
    keys = page.get_by_role("group", name="Add the next solution")
    keys.get_by_role("button", name="hypochlorite").click()
    expect(page.locator(".rd-order li")).to_have_count(7)
    keys.get_by_role("button", name="chlorhexidine").click()
    expect(page.get_by_text("Refused:")).to_be_visible()
    expect(page.locator("#bath [role=alert].rd-note")).to_contain_text("brown precipitate")
    expect(page.locator(".rd-order li")).to_have_count(7)
    page.get_by_role("button", name="Put saline between").click()
    expect(page.locator(".rd-order li")).to_have_count(9)
    page.get_by_label("Hypochlorite in all, s").fill("900")
    page.keyboard.press("Tab")
    expect(page.locator("[data-item='contact time'].ready")).to_be_visible()


def test_the_pad_with_one_finger(chromium: Browser, address: str) -> None:
    page = _opened(chromium, address, "points", canal=1, touch=True)
    for key in page.locator("button.pp-step, .pp-key span, .pp-go, .rd-drop").all():
        box = key.bounding_box()
        assert box is None or min(box["width"], box["height"]) >= 44, "a key smaller than a finger"
    note = page.get_by_role("button", name="Note this point")
    page.get_by_label("Dry length, mm: -1 mm").tap()
    expect(page.get_by_label("Dry length, mm", exact=True)).to_have_value("19.00")
    note.tap()
    expect(page.locator("[data-pattern=drying]")).to_be_visible()
    page.get_by_label("Dry length, mm: +1 mm").tap()
    points = page.locator("[data-drop=paper_points]")
    for already in (1, 2, 3):
        note.tap()
        expect(points).to_have_count(already + 1)
    expect(page.locator("[data-pattern=round]")).to_be_visible()
    expect(page.locator(".pp-said").first).to_contain_text("20.0")
    expect(page.locator("#pp-trim")).to_contain_text("0.2 mm off")
    for already in (4, 5):
        page.get_by_text("slanted", exact=True).tap()
        page.get_by_text("mesial", exact=True).tap()
        note.tap()
        expect(points).to_have_count(already + 1)
    expect(page.locator("[data-pattern=slanted]")).to_contain_text("oval or torn")
    expect(page.locator(".pp-said").first).to_contain_text("(mesial)")
    page.get_by_role("button", name="passes").tap()
    expect(page.locator(".pp-said").last).to_contain_text("try size 40 next")
    expect(page.locator("#pp-size")).to_have_value("40")
    page.get_by_role("button", name="stops").tap()
    expect(page.locator(".pp-said").last).to_contain_text("no size between")
    page.get_by_role("link", name="Verdict and notes").tap()
    expect(page.locator("[data-item=gauge]")).to_contain_text("ready")
    page.context.close()


def test_a_film_is_marked_and_its_length_sent_to_the_measurements(
    chromium: Browser, address: str, tmp_path: Path
) -> None:
    page = _opened(chromium, address, "radiograph", canal=1)
    expect(page.locator("html[data-film=ready]")).to_be_attached()
    (tmp_path / "bad.png").write_bytes(b"\x89PNG\r\n\x1a\nnothing")
    page.locator("#rg-file").set_input_files(tmp_path / "bad.png")
    expect(page.locator("#rg-wrong")).to_contain_text("bad.png: not a whole picture")
    first, second = film.film(), film.film(tube=100.0)
    load_film(page, first.save(tmp_path / "first.png"))
    mark_film(page, first)
    expect(page.locator(".rd-numbers").first).to_contain_text("tooth length")
    said = page.locator(".rd-numbers .rd-figure").first.inner_text()
    value, low, high = (float(v) for v in re.findall(r"[\d.]+", said)[:3])
    assert low <= 21.0 <= high and abs(value - 21.0) < 0.5, f"{said} by {page.locator('#rg-marks').inner_html()}"
    page.locator(".rd-numbers .num").first.click()
    expect(page.locator("#where")).to_contain_text("measured: radiograph, scaled by an instrument of 20 mm")
    expect(page.locator("#where")).to_contain_text("5–95 % interval")
    expect(page.locator("#where")).to_contain_text("an instrument of known length in the picture")
    page.keyboard.press("Escape")
    expect(page.locator(".rd-numbers .num").first).to_be_focused()
    expect(page.locator("#content")).to_contain_text("angle of Schneider")
    page.locator("#rg-stage").press("Control+z")
    page.locator("#rg-stage").press("Control+z")
    expect(page.locator("#rg-n-pair")).to_have_text("")
    mark_film(page, first, pair_only=True)
    page.get_by_text("Second film", exact=True).click()
    load_film(page, second.save(tmp_path / "second.tiff"))
    mark_film(page, second, pair_only=True)
    page.get_by_label("By how many degrees").fill("19")
    page.keyboard.press("Tab")
    expect(page.locator("[data-side=buccal]")).to_be_visible()
    page.get_by_role("button", name=re.compile("Put 2[01].. mm into")).click()
    expect(page.get_by_role("button", name="Take out: radiograph")).to_be_visible()
    page.reload()
    expect(page.locator(".rd-numbers").first).to_contain_text("tooth length")
    page.get_by_role("link", name="Verdict and notes").click()
    expect(page.locator("#length")).to_contain_text("radiograph 2")
    page.context.close()


LONGER = """(tall) => new Promise((drawn) => {
  const last = document.querySelector(".flow .part:last-child");
  last.style.minHeight = `${last.offsetHeight + tall}px`;
  requestAnimationFrame(() => requestAnimationFrame(() => drawn(document.getElementById("rg-stage").getBoundingClientRect().top)));
})"""
"""What is told beside the film gets longer; gives where the film is then."""


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (1280, 720), (820, 1180)])
def test_the_film_stays_under_the_hand_when_more_is_told(
    chromium: Browser, address: str, tmp_path: Path, width: int, height: int
) -> None:
    """Wherever the page is scrolled to: a mark that is being set would land elsewhere."""
    page = _opened(chromium, address, "radiograph", canal=1)
    page.set_viewport_size({"width": width, "height": height})
    expect(page.locator("html[data-film=ready]")).to_be_attached()
    load_film(page, film.film().save(tmp_path / "film.png"))
    for scrolled in (0.0, 0.4, 1.0):
        page.evaluate("share => scrollTo(0, share * (document.documentElement.scrollHeight - innerHeight))", scrolled)
        was = page.evaluate(LONGER, 0)
        for more in (150, 300):
            assert abs(page.evaluate(LONGER, more) - was) < 1.5, scrolled
        page.evaluate("document.querySelector('.flow .part:last-child').style.minHeight = ''")
    page.context.close()


def test_a_film_is_marked_by_keys_alone(chromium: Browser, address: str, tmp_path: Path) -> None:
    page = _opened(chromium, address, "radiograph", canal=0)
    expect(page.locator("html[data-film=ready]")).to_be_attached()
    load_film(page, film.film().save(tmp_path / "film.png"))
    stage = page.locator("#rg-stage")
    stage.focus()
    stage.press("Enter")
    expect(page.locator("#rg-n-known")).to_have_text("1")
    for _ in range(3):
        stage.press("Shift+ArrowUp")
    stage.press("ArrowLeft")
    told = page.locator("#rg-told").inner_text()
    x, y = (int(v) for v in re.findall(r"[xy] (\d+)", told))
    assert (x, y) == (film.COLUMNS // 2 - 1, film.ROWS // 2 - 30) or abs(x - film.COLUMNS // 2) <= 2
    stage.press("Escape")
    for _ in range(20):
        stage.press("Shift+ArrowDown")
    stage.press("Enter")
    expect(page.locator("#rg-n-known")).to_have_text("2")
    expect(page.get_by_label("Length of the instrument")).to_be_focused()
    page.keyboard.type("12")
    page.keyboard.press("Tab")
    stage.focus()
    stage.press("p")
    stage.press("Delete")
    expect(page.locator("#rg-n-known")).to_have_text("1")
    stage.press("Control+z")
    expect(page.locator("#rg-n-known")).to_have_text("2")
    page.context.close()


@pytest.mark.parametrize("view", ["ready", "points", "radiograph"])
def test_no_serious_finding_of_axe_and_nothing_cut_off(chromium: Browser, address: str, view: str) -> None:
    page = _opened(chromium, address, view)
    expect(page.locator("#content")).to_be_visible()
    if view == "ready":
        expect(page.locator(".rd-curve")).to_be_visible()
    no_serious_finding(page, DESKTOP, TABLET)
    page.context.close()
