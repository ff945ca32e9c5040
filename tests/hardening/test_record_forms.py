"""No form of the records breaks the server, whatever it is sent: every route that takes a form, every field, values meant to harm.

The routes are read from the application itself, the fields from the forms on its screens; a form that comes later is tried without
anybody thinking of it. Afterwards the records are whole, and nothing was written that anybody could not read again.
"""

import random
import re
from collections.abc import Iterator
from html.parser import HTMLParser

import pytest
from starlette.routing import BaseRoute, Mount, Route

from canalwright import casefile
from canalwright.web.records.house import House
from canalwright.web.records.rooms import rooms
from tests.support.recordroom import Browser, ann, browser, clock, filled_case, house

__all__ = ["ann", "browser", "clock", "house"]  # fixtures
HOSTILE = (
    "", " ", "\0", "a\0b", "../../etc/passwd", "/dev/zero", "<script>alert(1)</script>", "'; DROP TABLE events; --", "=1+1", "\u202e",
    "9" * 400, "-1", "1e999", "NaN", "inf", "0x10", "2026-02-30", "0000-00-00", "99999-01-01", "9999-12-31", "0001-01-01", "{}",
    "[" * 2000, "\U0001f9b7" * 50, "a" * 20_000, "1\n2", "\r\nSet-Cookie: x=1", "%s%n", "${7*7}", "None", "true", "46", "0",
)  # fmt: skip
FILES = (
    b"",
    b"\0" * 64,
    b"\xff\xd8\xff",
    b"PK\x03\x04" + b"\0" * 40,
    b"\x89PNG\r\n\x1a\n" + b"\xff" * 40,
    b"<svg onload=alert(1)>",
)
ENDS = ("/sign-out", "/lock", "/sign-in", "/unlock", "/second-factor")
"""What ends or asks for a session is tried by itself."""
TIMES = 2


class Fields(HTMLParser):
    """The names of all fields of all forms of a page; those of files apart."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.plain: set[str] = set()
        self.files: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        name = told.get("name")
        if tag in ("input", "select", "textarea", "button") and name and name != "csrf":
            (self.files if told.get("type") == "file" else self.plain).add(name)


def _routes(routes: list[BaseRoute], before: str = "") -> Iterator[tuple[str, str]]:
    for route in routes:
        if isinstance(route, Route):
            for method in route.methods or ():
                yield method, before + route.path
        elif isinstance(route, Mount) and route.path != "/static":
            yield from _routes(list(route.routes), before + route.path)


def _filled(path: str, case: str, key: str, draw: random.Random | None) -> str:
    """A path with its places filled: with what is there, or with something that is not."""

    def one(found: re.Match[str]) -> str:
        name, _, kind = found[1].partition(":")
        if draw is not None and draw.random() < 0.3:
            return (
                draw.choice(["%00", "..%2f..%2fetc", "no-such", "%F0%9F%A6%B7", "9" * 50, "-1"])
                if not kind
                else str(10**9)
            )
        return {"case": case, "key": key}.get(name, "1")

    return re.sub(r"{([^}]*)}", one, path)


async def test_no_form_breaks_the_server(ann: Browser, house: House) -> None:
    case, key = filled_case(house), house.office.shelf.put(casefile.demo_case())
    ann.client.headers["accept"] = "text/html"
    plain, files, posts = set[str](), set[str](), []
    for method, path in sorted(_routes(list(rooms(house).routes))):
        if method == "POST":
            posts.append(path)
        elif method == "GET":
            answer = await ann.get("/records" + _filled(path, case, key, None))
            assert answer.status_code < 500, path
            found = Fields(answer.text)
            plain, files = plain | found.plain, files | found.files
    assert len(posts) > 15 and len(plain) > 30, "the forms are there to be tried"
    page = (await ann.get("/records/")).text
    draw = random.Random(11)
    for path in posts:
        if path.endswith(ENDS):
            continue
        for _ in range(TIMES):
            ann.page = type(ann.page)(200, text=page)  # the token of the session, whatever the last answer was
            fields = {name: draw.choice(HOSTILE) for name in sorted(plain) if draw.random() < 0.7}
            sent = {
                name: (draw.choice(HOSTILE[3:8]), draw.choice(FILES)) for name in sorted(files) if draw.random() < 0.5
            }
            answer = await ann.send("/records" + _filled(path, case, key, draw), files=sent or None, **fields)
            assert answer.status_code < 500, (path, fields, answer.text[:300])
            assert "Traceback" not in answer.text
            assert "<script>alert(1)" not in answer.text
            assert "x" not in answer.cookies
    assert house.store.verify() == house.store.head
    assert (await ann.get("/records/")).status_code == 200, "the session and the list of cases are still there"


@pytest.mark.parametrize("path", ["/records/sign-in", "/records/unlock"])
async def test_the_door_stays_shut_and_whole(browser: Browser, path: str) -> None:
    draw = random.Random(12)
    for _ in range(12):
        await browser.get("/records/sign-in")
        fields = {name: draw.choice(HOSTILE) for name in ("name", "password", "code", "back")}
        answer = await browser.send(path, **fields)
        assert answer.status_code < 500
        assert not browser.client.cookies.get("x")
        assert answer.url.host == "127.0.0.1", "nobody is led elsewhere"
