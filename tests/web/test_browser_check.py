"""The whole check in a real browser: load a film, scale it, mark it, read the grade, the plan over it, the restoration, keep it.

On a desk and on a tablet, by mouse and keyboard; no control without a name (axe); nothing asked of another machine.
"""

import json
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, Route, expect

from tests.assessment import demo
from tests.support.browser import SLOW, film_answered, load_film, no_finding

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_check")]
DESKTOP, TABLET = {"width": 1440, "height": 900}, {"width": 820, "height": 1180}


IN_SIGHT = """rows => {
  const box = document.getElementById("rg-stage").getBoundingClientRect(), [top, end] = [[0, 0], [0, rows]].map((p) => cwScreen(p)[1]);
  return { top: box.top, share: box.height / innerHeight, film: (end - top) / box.height };
}"""
COVERED = """() => {
  const stage = document.getElementById("rg-stage"), floor = document.querySelector(".standing"), found = [];
  for (const one of document.querySelectorAll("#content :is(a, button, input, select, [tabindex='0'])")) {
    if (one === stage || !one.offsetParent || one.disabled) continue;
    one.focus();
    const box = one.getBoundingClientRect(), film = stage.getBoundingClientRect();
    const behind = box.bottom <= film.bottom && box.top >= film.top;
    if (document.activeElement === one && (behind || box.top >= floor.getBoundingClientRect().top)) found.push(one.outerHTML.slice(0, 80));
  }
  return found;
}"""
"""Controls that are all covered when they have the focus (WCAG 2.2, 2.4.11)."""


BOTH = """[["ferrule", "1.2"], ["thickness", "0.8"]].forEach(([name, value]) => {
  const field = document.getElementById(`ck-${name}`);
  field.value = value;
  field.dispatchEvent(new Event("input", { bubbles: true }));
})"""
"""Two fields, the second as soon as the first: none is left out."""


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, object]]:
    shot = demo.radiograph()
    path = tmp_path_factory.mktemp("film") / "after.png"
    demo.write(shot, path)
    return path, demo.marks(shot)


def _opened(chromium: Browser, address: str, size: dict[str, int], spanish: bool = False) -> Page:
    context = chromium.new_context(viewport=size, base_url=address)  # type: ignore[arg-type]
    if spanish:
        context.add_cookies([{"name": "cw_language", "value": "es", "url": address}])
    page = context.new_page()
    page.set_default_timeout(SLOW)
    page.goto("/demo")
    page.wait_for_url("**/plan**")
    page.goto(page.url.split("/0/plan")[0] + "/2/check")
    page.wait_for_selector("html[data-film=ready]", state="attached")
    return page


def _mark(page: Page, kind: str, point: list[float]) -> None:
    """Click the place of a film's pixel, with the tool of that kind."""
    page.locator(f".rg-tool[data-kind={kind}]").click()
    x, y = page.evaluate("point => window.cwScreen(point)", point)
    page.locator("#rg-stage").click(position={"x": x, "y": y})


def _marked(page: Page, marks: dict[str, object]) -> None:
    for point in marks["known"]:  # type: ignore[attr-defined]
        _mark(page, "known", point)
    page.locator("#rg-known").fill(f"{marks['known_mm']:g}")
    page.locator("#rg-known").press("Tab")
    for point in marks["line"][:-1]:  # type: ignore[index]
        _mark(page, "canal", point)
    _mark(page, "canal", marks["line"][-1])  # type: ignore[index]
    film_answered(page)


def test_the_whole_check(chromium: Browser, address: str, film: tuple[Path, dict[str, object]], tmp_path: Path) -> None:
    page = _opened(chromium, address, DESKTOP)
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    path, marks = film
    load_film(page, path)
    expect(page.locator("#content")).to_contain_text("mark the known instrument")
    _marked(page, marks)

    expect(page.locator("[data-grade=inadequate]")).to_be_visible()
    expect(page.locator("#ck-length")).to_contain_text("0.7 mm short")
    expect(page.locator("[data-criterion=length]")).to_have_class("rd-item ready")
    expect(page.locator("[data-criterion=density]")).to_have_class("rd-item not-ready")
    expect(page.locator("[data-unseen] li").first).to_contain_text("voids smaller than")
    expect(page.locator(".ck-density svg")).to_be_visible()
    expect(page.locator("#rg-marks .found.root")).to_have_count(1)
    expect(page.locator("#rg-marks .found.void")).to_have_count(1)
    expect(page.locator("#against table")).to_contain_text("end of the filling")
    expect(page.locator("#rg-marks .found.planned")).to_have_count(2)
    silent = "[...document.querySelectorAll('.num')].filter(n => !n.dataset.said?.includes('how it is found')).map(n => n.innerText)"
    assert page.locator(".num").count() > 20 and page.evaluate(silent) == [], "every number says where it is from"
    for place in ("[data-grade]", "[data-criterion=density]", ".ck-rows", "#against table"):
        expect(page.locator(f"{place} .num").first).to_be_visible()
    page.locator("[data-criterion=density] .num").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#where")).to_contain_text("Jaworska and Kierklo 2017")
    page.keyboard.press("Escape")
    expect(page.locator("[data-criterion=density] .num")).to_be_focused()

    page.evaluate(BOTH)
    expect(page.locator("#post")).to_contain_text("ferrule of 1.2 mm")
    expect(page.locator("#post")).to_contain_text("ferrule 0.8 mm thick")
    page.locator("#ck-ferrule").fill("none")
    expect(page.locator("#e-restore")).to_contain_text("give lengths in mm")
    page.locator("#ck-band").select_option("guideline")
    expect(page.locator("[data-criterion=length]")).to_contain_text("0.5 to 2 mm")

    with page.expect_download() as waiting:
        page.get_by_role("link", name="Save this check").click()
    kept = json.loads(Path(waiting.value.path()).read_text(encoding="utf-8"))
    assert kept["assessment"]["to_terminus"]["value"] == pytest.approx(0.7, abs=0.3)
    assert kept["assessment"]["not_seen"] and kept["canal"] == "distal"

    page.reload()
    expect(page.locator("[data-grade]")).to_be_visible()
    no_finding(page)
    assert complaints == []


def test_a_mark_is_never_set_on_the_film_that_a_new_one_is_about_to_replace(
    chromium: Browser, address: str, film: tuple[Path, dict[str, object]]
) -> None:
    page = _opened(chromium, address, DESKTOP)
    path, marks = film
    load_film(page, path)
    _marked(page, marks)
    held: list[Route] = []
    page.route("**/radiograph?name=*", lambda route: held.append(route))
    page.locator("#rg-file").set_input_files(path)
    expect(page.locator("#rg-coming")).to_have_text("Opening…")
    before = page.locator("#rg-n-canal").inner_text()
    _mark(page, "canal", [20.0, 20.0])
    page.locator("#rg-stage").press("Enter")
    expect(page.locator("#rg-n-canal")).to_have_text(before)
    held[0].abort()
    expect(page.locator("#rg-wrong")).to_contain_text("could not be sent")
    _mark(page, "canal", [20.0, 20.0])
    expect(page.locator("#rg-n-canal")).to_have_text("5")  # the film before it stays, and takes marks again
    page.unroute("**/radiograph?name=*")
    load_film(page, path)
    expect(page.locator("#rg-n-canal")).to_have_text("")
    page.context.close()


def test_on_a_tablet_in_spanish(chromium: Browser, address: str, film: tuple[Path, dict[str, object]]) -> None:
    page = _opened(chromium, address, TABLET, spanish=True)
    path, marks = film
    load_film(page, path)
    _marked(page, marks)
    expect(page.locator("[data-grade=inadequate]")).to_contain_text("inadecuada")
    expect(page.locator("#ck-length")).to_contain_text("antes del término")
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0, "the page scrolls sideways"
    page.locator("#against").scroll_into_view_if_needed()
    with Image.open(path) as picture:
        seen = page.evaluate(IN_SIGHT, picture.height)
    assert seen["top"] >= 0 and 0.3 < seen["share"] < 0.5, (
        "the film stays in sight above what was found, and leaves it room"
    )
    assert 0.95 < seen["film"] <= 1.01, "and is shown whole"
    assert page.evaluate(COVERED) == [], "what has the focus is never all behind the film or the caution"
    no_finding(page)
    page.set_viewport_size({"width": 410, "height": 590})  # this tablet at 200 % zoom
    assert page.evaluate("getComputedStyle(document.getElementById('rg-stage')).position") != "sticky"
