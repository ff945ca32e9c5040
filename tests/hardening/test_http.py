"""Any request that the page's own description allows, and many that it does not, gets an answer, and none of a broken server.

The routes are driven in this process behind the real guard; the description is the one that FastAPI draws up from them. Addresses come
from it by schemathesis; bodies and queries, which the routes read for themselves, are invented here.
"""

import asyncio
import json
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from unittest.mock import patch

import httpx
import pytest
import schemathesis
from fastapi import FastAPI
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from canalwright import casefile
from canalwright.web.guard import Guard
from canalwright.web.office import Office

PORT = 8765
ADDRESS = f"http://127.0.0.1:{PORT}"
SLOW = ("/scan/practice", "/run", "card.pdf", "case.zip", "film.json", "results.html", "film.{kind}", "moving.json")
"""Asked with keys of nothing only: what they make of an open case takes long and has tests of its own."""
HOSTILE = [
    "", "\0", "../../etc/passwd", "/dev/zero", "/", "/a\0b", "~nobody/x", "<script>alert(1)</script>", "=1+1", "\u202e", "9" * 400, "NaN",
    "1e999", "-1",
]  # fmt: skip
KEYS = [
    "path",
    "name",
    "voxel",
    "series",
    "kind",
    "point",
    "points",
    "canal",
    "radius",
    "events",
    "session",
    "seq",
    "normal",
]
QUERIES = [*KEYS, "activation", "cone", "plugger", "technique", "draws", "at"]

_word = st.one_of(
    st.sampled_from(HOSTILE), st.just("\ud800"), st.text(max_size=20), st.integers(-(10**20), 10**20), st.floats(), st.none(), st.booleans()
)  # fmt: skip
_json = st.recursive(
    _word,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(KEYS), inner, max_size=5),
    max_leaves=12,
)
_body = st.one_of(st.binary(max_size=60), _json.map(lambda v: json.dumps(v).encode()), st.just(b"[" * 5000))
_query = st.dictionaries(st.sampled_from(QUERIES), st.sampled_from(HOSTILE), max_size=2)


def _application(office: Office) -> FastAPI:
    """The routes of an office, without the pages, which a browser drives elsewhere."""
    serve = import_module("canalwright.web.server")
    with patch.object(serve, "register"), patch.object(serve, "ui"):
        return serve.application(office)  # type: ignore[no-any-return]


SCHEMA = schemathesis.openapi.from_dict(_application(Office.of(casefile.generic_tray())).openapi())
OPERATIONS = {f"{op.ok().method.upper()} {op.ok().path}": op.ok() for op in SCHEMA.get_all_operations()}


@dataclass
class Server:
    """The routes behind the guard, and the key of an open case."""

    loop: asyncio.AbstractEventLoop
    client: httpx.AsyncClient
    key: str

    def ask(self, method: str, url: str, **sent: object) -> httpx.Response:
        return self.loop.run_until_complete(self.client.request(method, url, **sent))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("XDG_DATA_HOME", str(tmp_path_factory.mktemp("data")))
        office = Office.of(casefile.generic_tray())
        key = office.shelf.put(casefile.demo_case())
        transport = httpx.ASGITransport(Guard(_application(office), PORT), client=("127.0.0.1", 5000))
        loop = asyncio.new_event_loop()
        yield Server(loop, httpx.AsyncClient(transport=transport, base_url=ADDRESS), key)
        loop.run_until_complete(loop.shutdown_default_executor())
        loop.close()
        office.bench.close()
        office.scans.shut()


@pytest.mark.parametrize("name", sorted(OPERATIONS))
def test_no_request_breaks_the_server(server: Server, name: str) -> None:
    operation = OPERATIONS[name]
    method = operation.method.upper()

    @settings(
        max_examples=12, deadline=None, derandomize=True, database=None, phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(case=operation.as_strategy(), body=_body, query=_query, ours=st.booleans())
    def ask(case: schemathesis.Case, body: bytes, query: dict[str, str], ours: bool) -> None:
        url = case.as_transport_kwargs(base_url=ADDRESS)["url"]
        if ours and "{key}" in operation.path and not operation.path.endswith(SLOW):
            url = ADDRESS + operation.path.replace("{key}", server.key).replace("{index}", "1")
        answer = server.ask(method, url, params=query, content=body if method == "POST" else None)
        assert answer.status_code < 500, (url, answer.text[:200])
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert "Traceback" not in answer.text

    ask()
