"""By keys alone through the whole way: start, measure, ready, plan, play, chair, check, what comes after.

Tab, Shift+Tab, Enter, Space, arrows and letters; the pointer is never used. Every place that the focus reaches on the way is looked
at: it shows (WCAG 2.2, 2.4.7), is not covered (2.4.11), and the next Tab leads on (2.1.2).
"""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.assessment import demo
from tests.support.browser import SLOW, film_answered, planned, server

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_keys")]
MOST = 160
"""Tabs after which a place counts as out of reach."""
LOOKS = 40
"""Looks at a place that is not seen, or not marked, before it counts as wrong."""
FOCUS = """() => {
  const el = document.activeElement;
  if (!el || el === document.body) return null;
  const near = [el, el.nextElementSibling, ...(el.labels ?? []), el.closest("label")];
  const shown = near.filter((e) => e?.getClientRects().length);
  const marked = (e) => {
    const style = getComputedStyle(e);
    return (style.outlineStyle !== "none" && parseFloat(style.outlineWidth) > 0) || style.boxShadow !== "none";
  };
  const seen = (e) => {
    const b = e.getBoundingClientRect(), at = [];
    for (const x of [.1, .5, .9]) for (const y of [.1, .5, .9]) at.push([b.left + x * b.width, b.top + y * b.height]);
    return at.some(([x, y]) => { const hit = document.elementFromPoint(x, y); return hit && (e.contains(hit) || hit.contains(e)); });
  };
  window.cwFocused ??= new WeakMap();
  window.cwCount ??= 0;
  if (!cwFocused.has(el)) cwFocused.set(el, ++cwCount);
  const labels = [...(el.labels ?? [])].map((l) => l.textContent).join(" ");
  const name = (el.getAttribute("aria-label") ?? labels) || el.textContent || el.id;
  return { id: cwFocused.get(el), name: name.trim().replace(/\\s+/g, " ").slice(0, 80), html: el.outerHTML.slice(0, 120),
    marked: shown.some(marked), seen: shown.some(seen), whole: el.matches("main") };
}"""


class Keys:
    """Someone who has no pointer."""

    def __init__(self, page: Page) -> None:
        self.page, self.wrong = page, list[str]()

    def to(self, name: str, *, back: bool = False) -> None:
        """Tab on until what is called so has the focus; what is reached on the way is looked at."""
        last, found = 0, re.compile(name)
        for _ in range(MOST):
            self.page.keyboard.press("Shift+Tab" if back else "Tab")
            at = self.page.evaluate(FOCUS)
            if at is None:
                last = 0
                continue
            assert at["id"] != last, f"the focus is held by {at['html']}"
            last = at["id"]
            for _ in range(LOOKS):  # a page that still lays itself out: judged is where the focus comes to rest
                if at["whole"] or (at["marked"] and at["seen"]):
                    break
                self.page.wait_for_timeout(200)
                at = self.page.evaluate(FOCUS) or at
            if not at["whole"] and not (at["marked"] and at["seen"]):
                self.wrong.append(f"{'covered' if at['marked'] else 'unmarked'}: {at['html']}")
            if found.search(at["name"]):
                return
        raise AssertionError(f"{name} is not reached by Tab on {self.page.url}")

    def press(self, *keys: str) -> None:
        """Press keys, one after the other."""
        for key in keys:
            self.page.keyboard.press(key)

    def open(self, name: str, *, back: bool = False) -> None:
        """Go there and press Enter."""
        self.to(name, back=back)
        self.press("Enter")


@pytest.mark.parametrize("size", [(1440, 900), (820, 1180)], ids=["desktop", "tablet"])
def test_the_whole_way_by_keys_alone(chromium: Browser, tmp_path: Path, size: tuple[int, int]) -> None:
    shot, film = demo.radiograph(), tmp_path / "after.png"
    demo.write(shot, film)
    with server(data=tmp_path / "data") as address:
        page = chromium.new_page(viewport={"width": size[0], "height": size[1]}, base_url=address)
        page.set_default_timeout(SLOW)
        keys = Keys(page)
        page.goto("/")
        keys.open("^Write a case$")
        page.wait_for_url("**/measure")
        expect(page.locator("#f-working_length")).to_be_visible()
        keys.to("^Working length")
        page.keyboard.type("20.5")
        keys.to("^Finishing file")
        page.keyboard.type("35")
        keys.to("^Its taper")
        page.keyboard.type("0.04")
        keys.press("Tab")
        expect(page.get_by_role("button", name="Plan this canal")).to_be_enabled()
        keys.open("^Plan this canal$", back=True)
        planned(page)

        keys.open("^Ready")
        page.wait_for_url("**/ready**")
        expect(page.locator("#n-value")).to_be_visible()
        keys.to("^Length, mm")
        page.keyboard.type("20.6")
        keys.open("^Add$")
        expect(page.locator("#length .rd-noted li")).to_have_count(1)
        keys.open("^Plan this canal$", back=True)
        planned(page)
        keys.to("^Activation")
        keys.press(*["ArrowRight"] * 5)
        expect(page).to_have_url(re.compile("activation="))
        planned(page)
        keys.to("K", back=True)
        keys.press("Enter")
        expect(page.get_by_role("dialog")).to_be_visible()
        keys.press("Escape")
        expect(page.get_by_role("dialog")).not_to_be_visible()

        keys.open("^Play$", back=True)
        expect(page.locator("html[data-player=ready]")).to_be_attached()
        keys.to("^Play$", back=True)
        keys.press("Space")
        page.wait_for_function("Number(document.getElementById('clock').textContent) > 0")

        keys.open("^Chair")
        page.wait_for_url("**/chair**")
        keys.open("^Begin$")
        expect(page.locator("#ch-words")).to_contain_text("Try the cone in")
        keys.press("Space")
        expect(page.locator("#ch-words")).to_contain_text("Place the cone")
        keys.press("Space")
        expect(page.locator("#ch-words")).to_contain_text("Sear")
        keys.open("^Something happened$")
        keys.to("^bled$")
        keys.press("Enter", "ArrowLeft")
        expect(page.locator("#ch-words")).to_contain_text("Place the cone")
        keys.open("^Leave$")
        page.wait_for_url("**/plan**")

        keys.open("^Check")
        page.wait_for_url("**/check**")
        expect(page.locator("html[data-film=ready]")).to_be_attached()
        keys.to("^Load a film$")
        page.locator("input:focus").set_input_files(film)  # the dialogue that Enter opens is the system's own
        film_answered(page)
        keys.to("^Film with marks$")
        keys.press("Enter")
        expect(page.locator("#rg-n-known")).to_have_text("1")
        keys.open("^Recall$")
        page.wait_for_url("**/after")
        page.close()
        assert not keys.wrong, "\n".join(sorted(set(keys.wrong)))
