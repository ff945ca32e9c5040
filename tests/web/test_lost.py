"""An address that leads nowhere shows our own page, with a way back and the right status; other routes keep their short answers."""

import urllib.error
import urllib.request
from collections.abc import Iterator

import pytest

from tests.support.browser import server


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with server(data=tmp_path_factory.mktemp("data")) as found:
        yield found


def answer(address: str) -> tuple[int, str]:
    asked = urllib.request.Request(address, headers={"cookie": "cw_language=es"})
    with pytest.raises(urllib.error.HTTPError) as raised, urllib.request.urlopen(asked):
        pass
    return raised.value.code, raised.value.read().decode()


def test_an_address_that_leads_nowhere(address: str) -> None:
    status, text = answer(f"{address}/nowhere/at/all")
    assert status == 404
    assert "Esta p" in text and "no existe" in text
    assert "HTTPException" not in text


def test_a_file_of_a_case_that_is_not_open_stays_a_short_answer(address: str) -> None:
    status, text = answer(f"{address}/case/0000/case.toml")
    assert status == 404
    assert "este caso ya no est" in text, "in the language that the browser asks for"
