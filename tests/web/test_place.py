"""Where the page may be served: loopback as it is, elsewhere only with accounts and TLS; and what runs at night."""

import os
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

import httpx
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from typer.testing import CliRunner

from canalwright import casefile
from canalwright.cli.app import app
from canalwright.records import Passphrase, Store
from canalwright.records.errors import DiskFull
from canalwright.web.chairbook import Head
from canalwright.web.guard import Guard
from canalwright.web.office import Office
from canalwright.web.place import Place, PlaceError
from canalwright.web.reader import reads
from canalwright.web.records.house import House
from canalwright.web.records.nightly import back_up, until_night
from tests.records.conftest import CHEAP
from tests.support.browser import free_port


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A certificate for `clinic.test` and 192.0.2.7, and its key."""
    folder = tmp_path_factory.mktemp("tls")
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "clinic.test")])
    names = x509.SubjectAlternativeName([x509.DNSName("Clinic.test"), x509.IPAddress(ip_address("192.0.2.7"))])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key()).serial_number(1)
        .not_valid_before(now).not_valid_after(now + timedelta(days=1)).add_extension(names, critical=False)
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    (folder / "c.pem").write_bytes(made.public_bytes(serialization.Encoding.PEM))
    private = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    (folder / "k.pem").write_bytes(private)
    return folder / "c.pem", folder / "k.pem"


def test_this_machine_needs_nothing() -> None:
    assert Place().address == "http://127.0.0.1:8765" and not Place().outside


def test_elsewhere_needs_accounts_and_tls(pair: tuple[Path, Path]) -> None:
    certificate, key = pair
    for given in ({}, {"accounts": True}, {"certificate": certificate, "key": key}):
        with pytest.raises(PlaceError, match="other machines"):
            Place("0.0.0.0", **given)  # type: ignore[arg-type]
    with pytest.raises(PlaceError, match="both"):
        Place(certificate=certificate)
    with pytest.raises(PlaceError, match="cannot be used together"):
        Place(certificate=certificate, key=certificate)
    place = Place("0.0.0.0", 8765, certificate, key, accounts=True)
    assert {"clinic.test", "192.0.2.7", "localhost"} <= place.names and "0.0.0.0" not in place.names
    assert place.address.startswith("https://")


async def test_outside_the_names_of_the_certificate_are_answered_and_no_others(pair: tuple[Path, Path]) -> None:
    place = Place("0.0.0.0", 8765, *pair, accounts=True)

    async def hello(_: Request) -> Response:
        return PlainTextResponse("hello")

    app = Guard(Starlette(routes=[Route("/", hello)]), 8765, names=place.names, outside=place.outside)
    transport = httpx.ASGITransport(app, client=("192.0.2.50", 5000))
    for host, status in (("clinic.test", 200), ("192.0.2.7", 200), ("elsewhere.example", 403)):
        async with httpx.AsyncClient(transport=transport, base_url=f"https://{host}:8765") as client:
            assert (await client.get("/")).status_code == status


def test_the_command_line_refuses_in_one_line() -> None:
    result = CliRunner().invoke(app, ["serve", "--host", "0.0.0.0", "--no-open"])
    assert result.exit_code == 2 and "Traceback" not in result.output


def test_a_port_in_use_is_told_before_any_address() -> None:
    port = free_port()
    with Place(port=port).listen():
        result = CliRunner().invoke(app, ["serve", "--port", str(port), "--no-open"])
    assert result.exit_code == 2 and "http" not in result.output
    assert result.output.splitlines() == [
        f"canalwright: port {port} on 127.0.0.1 is in use: stop what uses it, or choose another with --port"
    ]


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    with Store.create(tmp_path / "records", Passphrase("green teapot walks over rivers"), cost=CHEAP) as store:
        made = House.of(store, Office.of(casefile.generic_tray()), cost=CHEAP)
        yield made
        made.office.bench.close()


def test_a_backup_that_fails_is_told_until_one_succeeds(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise DiskFull("the disk is full")

    with monkeypatch.context() as broken:
        broken.setattr(type(house.store.backups), "make_if_due", full)
        back_up(house)
        assert "the disk is full" in house.trouble
    back_up(house)
    assert house.trouble == "" and len(house.store.backups.all()) == 1
    back_up(house)
    assert len(house.store.backups.all()) == 1, "not a second one on the same day"


def test_old_sessions_at_the_chair_are_forgotten(house: House) -> None:
    reads("ann")
    head = Head(casefile.dumps(casefile.demo_case()), 0, "", time.time())
    old, fresh = house.book.new(head), house.book.new(head)
    past = time.time() - 31 * 24 * 3600
    os.utime(house.book.folder / f"{old}.jsonl", (past, past))
    back_up(house)
    assert house.book.listed() == [fresh]


def test_the_next_night() -> None:
    assert until_night(datetime(2026, 11, 25, 1, 0)) == 3600
    assert until_night(datetime(2026, 11, 25, 2, 0)) == 24 * 3600
    assert until_night(datetime(2026, 11, 25, 23, 0)) == 3 * 3600
