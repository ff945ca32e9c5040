"""A reader meets the page in the language of their browser, and in the one that they chose from then on."""

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route

from canalwright.web.greeting import Greeting, asked
from canalwright.web.prefs import Prefs
from canalwright.web.words import LANGUAGES


@pytest.mark.parametrize(
    ("header", "language"),
    [
        ("", ""), ("es", "es"), ("es-ES,es;q=0.9", "es"), ("en-US,en;q=0.9,es;q=0.8", "en"), ("de,es;q=0.5,en;q=0.4", "es"),
        ("de", ""), ("*", ""), ("es;q=0", ""), ("es;q=x,en;q=0.1", "en"), ("es;q=nan", ""), ("en;q=0.3, es-MX ;q=0.7", "es"),
    ],
)  # fmt: skip
def test_the_language_that_is_asked_for_most(header: str, language: str) -> None:
    assert asked(header) == language


@given(st.text(max_size=200))
def test_any_header_is_read(header: str) -> None:
    assert asked(header) in {"", *LANGUAGES}


@pytest.mark.parametrize(
    ("headers", "language"),
    [
        ({}, "en"),
        ({"accept-language": "es-ES"}, "es"),
        ({"accept-language": "es-ES", "cookie": "cw_teeth=universal"}, "es"),
        ({"accept-language": "es-ES", "cookie": "cw_teeth=universal; cw_language=en"}, "en"),
        ({"accept-language": "en-GB", "cookie": "cw_language=es"}, "es"),
    ],
)
async def test_the_one_that_was_chosen_goes_before(headers: dict[str, str], language: str) -> None:
    async def told(request: Request) -> PlainTextResponse:
        return PlainTextResponse(f"{Prefs.of(request.cookies).language} {request.cookies.get('cw_teeth', '')}")

    app = Greeting(Starlette(routes=[Route("/", told)]))
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://127.0.0.1") as client:
        said = (await client.get("/", headers=headers)).text.split(" ")
    assert said == [language, "universal" if "cw_teeth" in headers.get("cookie", "") else ""]
