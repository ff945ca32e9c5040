"""Protects: the page on security names tests that exist, hostile text stays text, and a server elsewhere needs TLS."""

import re
from pathlib import Path

import pytest

from canalwright.records import Identity, Kind, Store
from canalwright.records.engine import postgres_engine
from canalwright.records.errors import RecordsError, StoreUnreachable

ROOT = Path(__file__).parents[2]
HOSTILE = "'; DROP TABLE event; -- \x00 \u202e <script>alert(1)</script> {{7*7}} %s %(x)s :name \\"


def test_page_names_tests_that_exist() -> None:
    page = (ROOT / "docs" / "security.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`(test_\w+)`", page))
    there = {
        n for f in (ROOT / "tests").rglob("test_*.py") for n in re.findall(r"def (test_\w+)", f.read_text("utf-8"))
    }
    assert named - there == set()
    assert len(named) > 40


def test_hostile_text_is_only_text(store: Store) -> None:
    """Whatever is typed is kept and found as typed, on either database."""
    patient = store.patients.add("ann", Identity(HOSTILE, contact=HOSTILE))
    case = store.cases.open(patient, {"tooth": 46, HOSTILE: HOSTILE}, "ann")
    store.cases.record(case, Kind.NOTE, {"text": HOSTILE}, "ann")
    assert store.patients.identity(patient).name == HOSTILE
    assert store.patients.find("drop table") == [patient]
    assert store.cases.events(case)[-1].payload == {"text": HOSTILE}
    assert store.cases.page(operator="' OR 1=1 --", patient="x' OR 'a'='a").total == 0
    for act in (lambda: store.cases.view("\x00"), lambda: store.cases.record(case, Kind.NOTE, {"text": "x"}, "a\nb")):
        with pytest.raises(RecordsError):
            act()
    store.verify()


ELSEWHERE = [
    "postgresql://u@db.example/x",
    "postgresql://u@10.0.0.5/x?sslmode=require",
    "mysql://u@localhost/x",
    "nonsense",
    "postgresql://db.example/x?host=127.0.0.1",
    "postgresql://localhost/x?host=db.example",
    "postgresql:///x?host=/run,db.example",
    "postgresql://localhost/x?hostaddr=10.0.0.5",
    "postgresql:///x?service=y",
]


@pytest.mark.parametrize("url", ELSEWHERE)
def test_server_elsewhere_needs_a_verified_certificate(url: str) -> None:
    with pytest.raises(StoreUnreachable):
        postgres_engine(url)


def test_server_here_or_with_certificate_is_let_through() -> None:
    for url in (
        "postgresql://u@localhost/x",
        "postgresql:///x?host=/run",
        "postgresql://u@db.example/x?sslmode=verify-full",
    ):
        postgres_engine(url).dispose()


def test_server_that_does_not_answer_is_told(tmp_path: Path) -> None:
    from canalwright.records.engine import transaction

    engine = postgres_engine(f"postgresql://u@/x?host={tmp_path}")
    with pytest.raises(StoreUnreachable, match="does not answer"), transaction(engine, writing=False):
        pytest.fail("there is no server")
