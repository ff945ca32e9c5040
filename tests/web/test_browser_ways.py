"""The ways people go: a new user from the empty page to a card, a returning one, at desktop and tablet size; two windows
on one case; Spanish whole, in the dark and zoomed.

How long a person takes is reckoned, not clocked: keystroke-level model (Card, Moran and Newell 1980, Communications of the ACM
23:396: 0.28 s a key, 1.1 s to point, 0.2 s to press, 1.35 s to make up one's mind) and, for a new user, silent reading of every
word on the screen at 238 words a minute (Brysbaert 2019, Journal of Memory and Language 109:104047). What the program itself
takes comes on top and is bounded elsewhere.
"""

import re
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.support.browser import SLOW, planned

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_ways")]
SIZES = {"desktop": (1440, 900), "tablet": (820, 1180)}
KEY, POINT, PRESS, MIND, WORDS = 0.28, 1.1, 0.2, 1.35, 238 / 60
ON_SCREEN = """() => {
  const walk = document.createTreeWalker(document.querySelector("#content"), NodeFilter.SHOW_TEXT);
  let words = 0;
  for (let node = walk.nextNode(); node; node = walk.nextNode()) {
    const box = node.parentElement.getBoundingClientRect(), seen = node.parentElement.checkVisibility();
    if (seen && box.bottom > 0 && box.top < innerHeight) words += (node.textContent.match(/\\p{L}{2,}/gu) ?? []).length;
  }
  return words;
}"""


DRAWN = """() => {
  const drawing = document.querySelector(".picture svg").cloneNode(true);
  drawing.querySelector(".cw-near")?.remove();
  return drawing.innerHTML;
}"""
"""The section, without the cursor that the page lays over it when the canal's stations have come."""


@dataclass
class Person:
    """Someone at the screen: `seconds` that they have taken so far in `steps`."""

    page: Page
    reads: bool
    touch: bool = False
    seconds: float = 0.0
    steps: list[str] = field(default_factory=list)

    def read(self) -> None:
        """A new user reads what is on the screen."""
        if self.reads:
            self.seconds += float(self.page.evaluate(ON_SCREEN)) / WORDS

    def press(self, what: Locator, name: str) -> None:
        """Find it, point, press."""
        what.tap() if self.touch else what.click()
        self._took(MIND + POINT + PRESS, name)

    def type(self, label: str, text: str) -> None:
        """Go to a field by the Tab key or the pointer and fill it in."""
        self.page.get_by_label(label).fill(text)
        self._took(MIND + POINT + PRESS + KEY * len(text), f"{label}: {text}")

    def choose(self, label: str, option: str) -> None:
        """Unfold a list and pick."""
        self.page.get_by_label(label).select_option(option)
        self._took(2 * (MIND + POINT + PRESS), f"{label}: {option}")

    def _took(self, seconds: float, name: str) -> None:
        self.seconds += seconds
        self.steps.append(name)


def _page(chromium: Browser, address: str, size: str = "desktop") -> Page:
    width, height = SIZES[size]
    page = chromium.new_page(viewport={"width": width, "height": height}, base_url=address, has_touch=size == "tablet")
    page.set_default_timeout(SLOW)
    return page


def _card(person: Person, shots: Path) -> None:
    """From the start to the card on the disk, with a picture of every page on the way."""
    page = person.page
    page.goto("/")
    expect(page.get_by_role("link", name="Write a case")).to_be_visible()
    person.read()
    page.screenshot(path=shots / "1-start.png")
    person.press(page.get_by_role("link", name="Write a case"), "Write a case")
    expect(page.get_by_label("Working length, mm")).to_be_visible()
    person.read()
    page.screenshot(path=shots / "2-measure.png")
    person.type("Working length, mm", "20.5")
    person.choose("Finishing file, ISO size", "35")
    person.type("Its taper", "0.04")
    plan = page.get_by_role("button", name="Plan this canal")
    expect(plan).to_be_enabled()
    page.screenshot(path=shots / "3-filled.png")
    person.press(plan, "Plan this canal")
    planned(page)
    person.read()
    page.screenshot(path=shots / "4-plan.png")
    with page.expect_download() as waiting:
        person.press(page.get_by_role("link", name="Card (PDF)"), "Card (PDF)")
    assert Path(waiting.value.path()).read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize("size", list(SIZES))
@pytest.mark.parametrize(("who", "most"), [("new", 300.0), ("returning", 60.0)])
def test_from_the_empty_page_to_a_card(
    chromium: Browser, address: str, tmp_path: Path, size: str, who: str, most: float
) -> None:
    person = Person(_page(chromium, address, size), reads=who == "new", touch=size == "tablet")
    _card(person, tmp_path)
    print(f"{who} user, {size}: {len(person.steps)} steps, about {person.seconds:.0f} s: {'; '.join(person.steps)}")
    assert person.seconds <= most
    person.page.close()


def test_two_windows_on_one_case_overwrite_nothing_and_none_is_stale(chromium: Browser, address: str) -> None:
    """An edit in one window: it goes on with the new numbers; the other keeps the old ones, says that they are old, and leads on."""
    context = chromium.new_context(viewport={"width": 1440, "height": 900}, base_url=address)
    context.set_default_timeout(SLOW)
    first, second = context.new_page(), context.new_page()
    first.goto("/demo")
    planned(first)
    old, depth = first.url, first.evaluate(DRAWN)
    second.goto(old)
    planned(second)
    first.goto(old.replace("/plan", "/measure"))
    field = first.get_by_label("Working length, mm")
    length = float(field.input_value())
    field.fill(f"{length - 1:.1f}")
    field.press("Tab")
    first.get_by_role("button", name="Plan this canal").click()
    planned(first)
    new = first.url
    assert new != old and first.evaluate(DRAWN) != depth
    expect(first.locator(".older")).to_have_count(0)
    expect(second.locator(".older")).to_contain_text("before its last change")
    assert second.evaluate(DRAWN) == depth, "what the other window shows was not touched"
    for stage in ("play", "chair", "measure"):
        second.goto(old.replace("/plan", f"/{stage}"))
        expect(second.locator(".older")).to_be_visible()
        first.goto(new.replace("/plan", f"/{stage}"))
        expect(first.locator("#content")).to_be_visible()
        expect(first.locator(".older")).to_have_count(0)
    expect(first.get_by_label("Working length, mm")).to_have_value(f"{length - 1:g}")
    expect(second.get_by_label("Working length, mm")).to_have_value(f"{length:g}")
    second.goto(old)
    second.locator(".older a").click()
    expect(second).to_have_url(re.compile(re.escape(new.split("/case/")[1].split("/")[0])))
    context.close()


NAMES = {"ISO 3950"}
"""The same in both languages; a word alone is the name of a canal or a tool."""


def test_no_english_is_left_over_in_spanish_at_200_per_cent(chromium: Browser, address: str) -> None:
    """720 x 450 is what a 1440 x 900 screen has left at 200 % zoom; dark, so that all three are walked at once."""
    small = {"width": 720, "height": 450}
    english = chromium.new_context(base_url=address)
    spanish = chromium.new_context(viewport=small, base_url=address, color_scheme="dark")  # type: ignore[arg-type]
    spanish.add_cookies([{"name": "cw_language", "value": "es", "url": address}])
    for context in (english, spanish):
        context.set_default_timeout(SLOW)
    pages = [english.new_page(), spanish.new_page()]
    pages[0].goto("/demo")
    pages[0].wait_for_url("**/plan*")
    case = pages[0].url.split("?")[0].removesuffix("/plan")
    for stage in ("/", "/measure", "/scan", f"{case}/chair", f"{case}/practice", f"{case}/heat"):
        said = []
        for page in pages:
            page.goto(stage)
            expect(page.locator("footer")).to_be_visible()
            lines = page.locator("body").inner_text().split("\n")
            said.append({line.strip() for line in lines if len(re.findall(r"[A-Za-z]{3,}", line)) > 1})
        left = {line for line in said[0] & said[1] if line not in NAMES and not line.startswith(("Demo:", "CEM43"))}
        assert left == set(), f"{stage}: not in Spanish"
        assert pages[1].evaluate("document.documentElement.scrollWidth <= innerWidth + 1"), f"{stage} is cut off"
    pages[1].set_viewport_size({"width": 320, "height": 800})
    pages[1].goto(f"{case}/plan")
    expect(pages[1].locator("#part-cone")).to_be_visible()
    assert pages[1].evaluate("document.documentElement.scrollWidth <= innerWidth + 1"), "the plan is cut off at 320 px"
    english.close()
    spanish.close()
