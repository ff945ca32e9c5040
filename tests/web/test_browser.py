"""The main job in a real browser: open the demo case, move a control, see the numbers change, play the downpack, take the card.

And what a reader may count on: keyboard, names of controls (axe), no request that leaves this machine, settings that stay.
"""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from canalwright import casefile
from tests.support.browser import SLOW, caught, no_serious_finding, planned, taken_in

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser")]
DESKTOP, TABLET = {"width": 1440, "height": 900}, {"width": 820, "height": 1180}


@pytest.fixture
def page(chromium: Browser, address: str) -> Iterator[Page]:
    context = chromium.new_context(viewport=DESKTOP, base_url=address)
    made = context.new_page()
    made.set_default_timeout(SLOW)
    complaints: list[str] = []
    made.on("pageerror", lambda error: complaints.append(str(error)))
    outside: list[str] = []
    made.on(
        "request",
        lambda r: (
            outside.append(r.url) if not r.url.startswith((address, "data:", "blob:", "ws://127.0.0.1")) else None
        ),
    )
    yield made
    context.close()
    assert complaints == []
    assert outside == [], "a page asked something of another machine"


def _rise(page: Page) -> float:
    return float(page.locator('.headline [data-key="heat.surface_rise"] .value').inner_text())


def test_the_main_job(page: Page, tmp_path: Path) -> None:
    page.goto("/")
    page.get_by_role("link", name="Open the demo case").click()
    planned(page)
    before = _rise(page)
    slider = page.get_by_label("Activation", exact=True)
    slider.focus()
    for _ in range(15):
        slider.press("ArrowRight")
    page.wait_for_function(
        "before => Number(document.querySelector('.headline [data-key=\"heat.surface_rise\"] .value').innerText) > before + 0.5",
        arg=before,
    )
    planned(page)
    assert _rise(page) > before
    expect(page).to_have_url(re.compile("activation="))
    expect(page.locator("#told")).to_have_text(re.compile("^Root surface rise"))

    with page.expect_download() as waiting:
        page.get_by_role("link", name="Card (PDF)").click()
    card = Path(waiting.value.path()).read_bytes()
    assert card.startswith(b"%PDF-") and len(re.findall(rb"/Type\s*/Page\b", card)) == 1

    page.get_by_role("link", name="Play", exact=True).click()
    expect(page).to_have_url(re.compile("play.*activation="))
    expect(page.locator("html[data-player=ready]")).to_be_attached()
    page.get_by_label("Speed").select_option("10")
    page.get_by_role("button", name="Play", exact=True).click()
    page.wait_for_function("Number(document.getElementById('clock').textContent) > 40")
    page.get_by_role("button", name="Pause", exact=True).click()
    stopped = page.locator("#clock").inner_text()
    page.keyboard.press("Tab")
    page.locator("#content").focus()
    page.keyboard.press("Home")
    assert page.locator("#clock").inner_text() == "0.0" != stopped
    page.keyboard.press("ArrowRight")
    assert page.locator("#clock").inner_text() == "1.0"
    page.keyboard.press("Shift+ArrowRight")
    expect(page.locator("#acts button[aria-current]")).to_contain_text("seared")
    page.locator(".cursor .num").nth(1).focus()
    shown = page.locator("#v-surface").inner_text()
    page.keyboard.press("Enter")
    for said in (shown, page.locator("#o-depth").inner_text(), "one moment of one run", "Pennes 1948"):
        expect(page.get_by_role("dialog")).to_contain_text(said)
    page.keyboard.press("Escape")
    expect(page.locator(".cursor .num").nth(1)).to_be_focused()


TOLD = "Object.fromEntries([...document.querySelectorAll('[data-control]')].map((c) => [c.dataset.control, c.dataset.told]))"
"""What each control says."""


def test_a_control_given_back_is_the_planners_again(page: Page) -> None:
    page.goto("/demo")
    planned(page)
    slider = page.get_by_label("Press force")
    slider.fill("35")
    expect(page.locator('[data-control="force"] .give-back')).to_be_visible()
    expect(page).to_have_url(re.compile("force=35"))
    page.reload()
    planned(page)
    expect(page.get_by_label("Press force")).to_have_value("35")
    page.locator('[data-control="force"] .give-back').click()
    expect(page.locator('[data-control="force"] .planned')).to_be_visible()
    page.wait_for_function("!location.search.includes('force')")
    planned(page)
    before = page.evaluate(TOLD)
    page.get_by_label("Activation", exact=True).fill(
        "2"
    )  # longer: the planner does other things otherwise, and says so
    planned(page)
    moved = page.locator("[data-control]:has(.was:not(:empty))").first
    key, name = moved.get_attribute("data-control") or "", moved.locator("label").inner_text()
    said = f"moved with it, was {before[key]}"
    expect(moved.locator(".was")).to_have_text(said)
    expect(page.locator("#told")).to_contain_text(f"{name} {page.evaluate(TOLD)[key]} ({said})")


MOVED = """() => {
  const slider = document.querySelector("[data-choice=force]"), before = Number(slider.value);
  slider.value = "35";
  slider.dispatchEvent(new Event("input", { bubbles: true }));
  canalwright.shown({ force: { auto: true, value: before } }, "", 0);
  return slider.value;
}"""
"""A slider is moved just before an answer comes that knows nothing of it."""


def test_an_answer_to_what_was_before_changes_nothing(page: Page) -> None:
    """Neither a slider that the hand has moved since, nor whether the case was changed in another window."""
    page.goto("/demo")
    planned(page)
    assert page.evaluate(MOVED) == "35"
    planned(page)
    expect(page.get_by_label("Press force")).to_have_value("35")
    held: list[Route] = []
    page.route("**/newer.json", lambda route: held.append(route), times=1)
    look = "document.dispatchEvent(new Event('visibilitychange'))"
    page.evaluate(look)
    late = caught(page, held)
    with page.expect_response("**/newer.json"):
        page.evaluate(look)
    late.fulfill(json={"newer": "0" * 16, "text": "changed", "link": "as it is now"})
    taken_in(page)
    assert page.locator(".older").count() == 0


TYPED = """() => {
  const told = (key, value, name) => {
    const field = document.getElementById(key);
    field.value = value;
    field.dispatchEvent(new Event(name, { bubbles: true }));
  };
  told("f-orifice_width", "1.31", "input");
  document.querySelectorAll(".tab[data-form=canal]")[1].click();
  told("f-orifice_depth", "2.6", "change");
}"""
"""In one canal's form, the last of it when another canal has been chosen and the form is still the one of the first."""


def test_what_is_typed_is_told_of_the_canal_that_the_form_shows(page: Page) -> None:
    page.goto("/demo")
    page.wait_for_url("**/plan*")
    page.goto(page.url.replace("/plan", "/measure"))
    tabs, width, depth = page.locator(".tab[data-form=canal]"), page.locator("#f-orifice_width"), "#f-orifice_depth"
    tabs.nth(1).click()
    expect(tabs.nth(1)).to_have_attribute("aria-current", "true")
    theirs = width.input_value(), page.locator(depth).input_value()
    tabs.nth(0).click()
    expect(tabs.nth(0)).to_have_attribute("aria-current", "true")
    page.evaluate(TYPED)
    expect(tabs.nth(1)).to_have_attribute("aria-current", "true")
    tabs.nth(0).click()
    expect(width).to_have_value("1.31")
    expect(page.locator(depth)).to_have_value("2.6")
    tabs.nth(1).click()
    expect(tabs.nth(1)).to_have_attribute("aria-current", "true")
    assert (width.input_value(), page.locator(depth).input_value()) == theirs


def test_a_number_says_where_it_comes_from(page: Page) -> None:
    page.goto("/demo")
    planned(page)
    number = page.locator('.headline [data-key="heat.longest_activation"]')
    number.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("dialog")).to_contain_text("Pennes 1948")
    page.keyboard.press("Escape")
    expect(page.get_by_role("dialog")).not_to_be_visible()
    expect(number).to_be_focused()
    at_the_cursor = page.locator("#zoom-values .num").nth(1)
    expect(at_the_cursor).to_have_attribute("aria-label", re.compile("least width, native: .*Where from"))
    at_the_cursor.click()
    for said in (at_the_cursor.locator(".interval").inner_text(), "published average: Villas", "before shaping"):
        expect(page.get_by_role("dialog")).to_contain_text(said)
    page.keyboard.press("Escape")


def test_a_case_is_written_from_five_values(page: Page) -> None:
    page.goto("/measure")
    page.get_by_label("Working length, mm").fill("3")
    expect(page.locator("#w-working_length")).to_contain_text("8 to 40")
    page.get_by_label("Working length, mm").fill("20.5")
    page.get_by_label("Finishing file, ISO size").select_option("35")
    page.get_by_label("Its taper").fill("0.04")
    expect(page.locator(".picture svg.cw-section")).to_be_visible()
    expect(page.locator("#u-crest")).to_contain_text("used:")
    page.get_by_role("button", name="Plan this canal").click()
    planned(page)
    expect(page.locator(".part#part-provenance")).to_contain_text("Published average")


def test_a_bad_file_is_told_line_by_line(page: Page, tmp_path: Path) -> None:
    page.goto("/")
    bad = tmp_path / "bad.toml"
    bad.write_text(
        '[case]\nversion = 1\nlabel = "x"\n[tooth]\nnumber = 99\n[[canal]]\nname = "single"\nworking_length_mm = 3\n'
    )
    page.locator("#file").set_input_files(bad)
    expect(page.get_by_role("alert")).to_contain_text("bad.toml: ")
    good = tmp_path / "good.toml"
    good.write_text(casefile.dumps(casefile.demo_case()))
    page.locator("#file").set_input_files(good)
    planned(page)


@pytest.mark.parametrize("view", ["/", "/measure", "plan"])
def test_no_serious_finding_of_axe(chromium: Browser, address: str, view: str) -> None:
    """Each page in both schemes; `plan` goes on to `play`, so that it is planned once."""
    context = chromium.new_context(viewport=DESKTOP, base_url=address)  # type: ignore[arg-type]
    page = context.new_page()
    page.set_default_timeout(SLOW)
    if view.startswith("/"):
        page.goto(view)
        expect(page.locator("#content")).to_be_visible()
    else:
        page.goto("/demo")
        planned(page)
    no_serious_finding(page, DESKTOP, TABLET)
    if view == "plan":
        page.goto(page.url.replace("/plan", "/play"))
        expect(page.locator("html[data-player=ready]")).to_be_attached()
        no_serious_finding(page, DESKTOP, TABLET)
    context.close()


IN_VIEW = """queries => {
  const floor = document.querySelector(".standing").getBoundingClientRect().top;
  const boxes = queries.map((query) => document.querySelector(query).getBoundingClientRect());
  return queries.map((query, i) => [query, boxes[i].top >= 0 && boxes[i].bottom <= floor + 1]);
}"""


@pytest.mark.parametrize("size", [(720, 450), (820, 1180), (1366, 768)])
def test_nothing_is_cut_off_and_the_worst_stands_in_the_first_view(
    chromium: Browser, address: str, size: tuple[int, int]
) -> None:
    """720 x 450 is what a 1440 x 900 screen has left at 200 % zoom: there the numbers to act on and the count of warnings are seen."""
    context = chromium.new_context(viewport={"width": size[0], "height": size[1]}, base_url=address)
    page = context.new_page()
    page.set_default_timeout(SLOW)
    page.goto("/demo")
    planned(page)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth + 1")
    seen = ['[data-stage="plan"] .mark', ".headline .num"]
    if size[0] > 720:
        seen += [".worst .finding:nth-child(3)", ".picture svg"]
    assert page.evaluate(IN_VIEW, seen) == [[query, True] for query in seen]
    context.close()


def test_a_file_that_cannot_be_made_is_told_on_the_page(page: Page) -> None:
    """A browser's own download would only fail."""
    page.goto("/demo")
    planned(page)
    told = "the archive would have 70 MiB, at most 64 MiB fit; take radiographs away"
    page.route("**/case.zip", lambda route: route.fulfill(status=422, json={"problems": [told]}))
    page.get_by_role("link", name="All of the case (ZIP)").click()
    expect(page.locator("#download-told")).to_have_text(told)
    page.unroute("**/case.zip")


def test_two_protocols_play_in_step(page: Page) -> None:
    page.goto("/demo")
    planned(page)
    page.goto(page.url.replace("/plan", "/compare?force=35"))
    expect(page.locator("html[data-player=ready]")).to_be_attached()
    page.get_by_label("Time", exact=True).fill("30")
    assert page.locator("#act-a").inner_text() and page.locator("#act-b").inner_text()
    expect(page.locator("#content")).to_contain_text("B: Press force 35 N")
    expect(page.locator("table tbody tr")).to_have_count(8)
    expect(page.locator("table tbody .num")).to_have_count(16)
    page.set_viewport_size(TABLET)
    heights = (
        "[...document.querySelectorAll('.pair svg text')].map(t => t.getBoundingClientRect().height).filter(Boolean)"
    )
    assert page.evaluate(f"Math.min(...{heights})") >= 10, "the words of both drawings can be read on a tablet"
    page.locator("table tbody .num").nth(3).click()
    expect(page.get_by_role("dialog")).to_contain_text("the power of the seconds")
