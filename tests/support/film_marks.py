"""Marking an invented film in the page by mouse."""

from playwright.sync_api import Page

from tests.support import film
from tests.support.browser import film_answered


def mark_film(page: Page, drawn: film.Film, *, pair_only: bool = False) -> None:
    """Set the marks of a drawn film: the known instrument, reference point, terminus, canal and the pair; or the pair alone.

    Returns when the page has answered all of them.
    """
    if not pair_only:
        for point in drawn.known:
            _mark(page, "known", point)
        page.get_by_label("Length of the instrument").fill(f"{film.FILE:g}")
        page.keyboard.press("Tab")
        _mark(page, "reference", drawn.cusp)
        _mark(page, "terminus", drawn.terminus)
        for point in drawn.canal:
            _mark(page, "canal", point)
    for point in drawn.pair:
        _mark(page, "pair", point)
    film_answered(page)


def _mark(page: Page, tool: str, point: tuple[float, float]) -> None:
    page.locator(f"[data-kind={tool}]").click()
    box = page.locator("#rg-stage").bounding_box()
    assert box is not None
    x, y = page.evaluate("p => window.cwScreen(p)", list(point))
    page.mouse.click(box["x"] + x, box["y"] + y)
