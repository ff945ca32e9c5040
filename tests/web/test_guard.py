"""The page answers this machine alone: no other host, no other site's page, no name that was rebound, no endless body."""

import httpx
import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route

from canalwright.web.guard import MOST_BYTES, Guard


async def _echo(request: Request) -> PlainTextResponse:
    return PlainTextResponse(str(len(await request.body())))


def _client(address: str = "127.0.0.1", base: str = "http://127.0.0.1:8765") -> httpx.AsyncClient:
    app = Guard(Starlette(routes=[Route("/", _echo, methods=["GET", "POST"])]), 8765)
    return httpx.AsyncClient(transport=httpx.ASGITransport(app, client=(address, 5000)), base_url=base)


@pytest.mark.parametrize("base", ["http://127.0.0.1:8765", "http://localhost:8765", "http://[::1]:8765"])
async def test_this_machine_is_answered(base: str) -> None:
    async with _client(base=base) as client:
        answer = await client.get("/", headers={"origin": base})
    assert answer.status_code == 200
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert answer.headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize(
    ("address", "base", "headers"),
    [
        ("192.168.1.20", "http://127.0.0.1:8765", {}),
        ("127.0.0.1", "http://rebound.example:8765", {}),
        ("127.0.0.1", "http://127.0.0.1:9999", {}),
        ("127.0.0.1", "http://127.0.0.1:8765", {"origin": "https://elsewhere.example"}),
        ("127.0.0.1", "http://127.0.0.1:8765", {"origin": "null"}),
    ],
)
async def test_strangers_are_refused(address: str, base: str, headers: dict[str, str]) -> None:
    async with _client(address, base) as client:
        answer = await client.get("/", headers=headers)
    assert answer.status_code == 403


async def test_a_long_body_is_refused_before_it_is_read() -> None:
    async with _client() as client:
        answer = await client.post("/", content=b"x" * (MOST_BYTES + 1))
    assert answer.status_code == 413


async def test_a_body_that_hides_its_length_is_cut_off() -> None:
    """Chunked bodies announce no length; the guard counts."""

    async def chunks():  # type: ignore[no-untyped-def]
        for _ in range(MOST_BYTES // 65536 + 2):
            yield b"x" * 65536

    async with _client() as client:
        with pytest.raises(Exception, match=r".*"):
            (await client.post("/", content=chunks())).raise_for_status()
