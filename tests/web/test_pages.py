"""The pages through a simulated user: what stands on them, and what a link to nowhere says."""

import sys
from collections.abc import AsyncIterator

import pytest
from nicegui import ui
from nicegui.testing import User
from nicegui.testing.user_simulation import user_simulation

from canalwright import casefile
from canalwright.casefile import Case
from canalwright.planning import Choices
from canalwright.web.draft import Draft
from canalwright.web.office import Office
from canalwright.web.pages import register


@pytest.fixture
async def office() -> AsyncIterator[Office]:
    made = Office.of(casefile.generic_tray())
    yield made
    made.bench.close()


@pytest.fixture
async def user(office: Office) -> AsyncIterator[User]:
    ours = {name: module for name, module in sys.modules.items() if name.partition(".")[0] == "canalwright"}
    async with user_simulation() as simulated:
        register(office)
        yield simulated
    # It forgets the modules of all pages and the packages that they are in: others would load them twice.
    sys.modules.update(ours)


def _all(user: User) -> str:
    return " ".join(e.content for e in user.find(ui.html).elements)


async def test_the_start_offers_three_ways(user: User) -> None:
    await user.open("/")
    shown = _all(user)
    for words in ("Open the demo case", "Write a case", "Choose a file", "Not a certified medical device"):
        assert words in shown


async def test_an_open_case_says_which_canal(user: User, office: Office, case: Case) -> None:
    key = office.shelf.put(case)
    await user.open(f"/case/{key}/1/plan?activation=3")
    shown = _all(user)
    assert "mesiolingual canal" in shown and "What if?" in shown


async def test_a_case_that_is_not_open_is_told(user: User) -> None:
    for address in ("/case/0000/0/plan", "/case/0000/0/play", "/case/0000/0/measure"):
        await user.open(address)
        assert "not open any more" in _all(user)


async def test_an_old_address_says_so_and_leads_to_the_newest(user: User, office: Office, case: Case) -> None:
    """At once, in what the server sends: an old tab or bookmark must not pass for the case as it is."""
    old = office.shelf.put(case)
    new = office.shelf.put(Draft.of(case).with_text(0, "working_length", "20").case(), instead_of=old)
    for way in ("measure", "play?activation=3"):
        await user.open(f"/case/{old}/0/{way}")
        assert "before its last change" in _all(user) and f'href="/case/{new}/0/{way}"' in _all(user)
        await user.open(f"/case/{new}/0/{way}")
        assert "before its last change" not in _all(user)
    office.shelf._off(old)  # as it goes when a case was changed very often
    await user.open(f"/case/{old}/0/plan")
    assert "not kept any more" in _all(user) and f'href="/case/{new}/0/plan"' in _all(user)


async def test_the_form_shows_a_new_case(user: User) -> None:
    await user.open("/measure")
    shown = _all(user)
    assert "Working length" in shown and "The section appears when" in shown


async def test_the_way_says_what_is_missing_and_what_is_doubtful(user: User, office: Office, case: Case) -> None:
    key = office.shelf.put(case)
    await user.open(f"/case/{key}/0/chair")
    shown = _all(user)
    assert 'data-stage="plan"' in shown and "not planned yet" in shown
    assert 'class="mark missing"' in shown and "not begun" in shown
    await office.bench.plan(case, 0, Choices())
    await user.open(f"/case/{key}/0/chair")
    assert "not planned yet" not in _all(user)


async def test_without_records_recall_says_how_to_open_them(user: User) -> None:
    await user.open("/after")
    assert "canalwright serve --records HOME" in _all(user)
