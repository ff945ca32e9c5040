"""Fingers on a tablet: no mouse, no keyboard; each touch goes through the browser as the screen would send it."""

from collections.abc import Sequence
from itertools import pairwise

from playwright.sync_api import Browser, Locator, Page

TABLET = {"width": 820, "height": 1180}
FINGER = 44
"""Least side of what a gloved finger presses, px (WCAG 2.2, 2.5.5; 24 px is the floor of 2.5.8)."""
Place = tuple[float, float]
SMALL = """least => [...document.querySelectorAll('a, button, input:not([type=hidden]), select, summary, textarea')].filter((e) =>
  e.checkVisibility() && e.getClientRects().length && !e.closest('.unseen, .skip, dialog:not([open])') && !e.disabled).filter((e) => {
    const boxes = [e, ...(e.labels ?? [])].map((x) => x.getBoundingClientRect());
    return Math.max(...boxes.map((b) => b.width)) < least - 0.5 || Math.max(...boxes.map((b) => b.height)) < least - 0.5;
  }).map((e) => e.outerHTML.slice(0, 110))"""


def tablet(chromium: Browser, address: str) -> Page:
    """A page on a tablet that knows of no pointer but fingers."""
    context = chromium.new_context(viewport=TABLET, base_url=address, has_touch=True)  # type: ignore[arg-type]
    return context.new_page()


def small(page: Page) -> list[str]:
    """What is there to be pressed and is smaller than a gloved finger needs."""
    found: list[str] = page.evaluate(SMALL, FINGER)
    return found


def swipe(page: Page, *paths: Sequence[Place], steps: int = 8) -> None:
    """Put down a finger for each path, move all along theirs at once, lift them."""
    session = page.context.new_cdp_session(page)

    def touch(kind: str, places: Sequence[Place]) -> None:
        points = [{"x": x, "y": y, "id": i} for i, (x, y) in enumerate(places)]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", [path[0] for path in paths])
    for legs in zip(*(pairwise(path) for path in paths), strict=True):
        for k in range(1, steps + 1):
            touch("touchMove", [(a[0] + (b[0] - a[0]) * k / steps, a[1] + (b[1] - a[1]) * k / steps) for a, b in legs])
    touch("touchEnd", [])
    session.detach()


def within(place: Locator, across: float, down: float) -> Place:
    """A place inside a thing on the screen, by shares of its sides."""
    place.scroll_into_view_if_needed()
    box = place.bounding_box()
    assert box is not None
    return box["x"] + across * box["width"], box["y"] + down * box["height"]
