"""Records at full load: 200,000 events of 10,000 cases, SQLite (encrypted) and PostgreSQL side by side.

    python -m benchmarks.bench_records [cases, 10000 unless told]

Lists must come within 200 ms. Beside ours stands Python's own sqlite3 without encryption, chain or roles, on the same rows in
the same run. PostgreSQL is started from Debian's package where it is installed, with its flushes on.
"""

import random
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import astuple, fields
from datetime import date, timedelta
from pathlib import Path

import pytest
from sqlalchemy import insert
from tests.support.postgres import server

from canalwright.records import Cost, Kind, Passphrase, Store, schema
from canalwright.records.canonical import canonical
from canalwright.records.caseview import CaseView
from canalwright.records.crypt import new_key, seal
from canalwright.records.events import Entry
from canalwright.records.outcomes import outcomes_of, summarise
from canalwright.records.pseudonym import new_name

SECRET = Passphrase("green teapot walks over rivers")
EVENTS_A_CASE, LIMIT_MS = 20, 200
TODAY = date(2026, 11, 25)


def main(cases: int = 10_000) -> bool:
    """Run everything and print the table; gives whether every list came in time."""
    rows: dict[str, dict[str, float]] = {}
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="cw-bench-")))
        urls: dict[str, str | None] = {"SQLite": None}
        try:
            urls["PostgreSQL"] = stack.enter_context(server(durable=True)).new_database()
        except (pytest.skip.Exception, pytest.fail.Exception) as missing:
            print(missing)
        for name, url in urls.items():
            store = stack.enter_context(Store.create(folder / name, SECRET, url=url, cost=Cost(1, 8, 1)))
            names, took = _timed(lambda store=store: _fill(store, cases))
            print(f"{name}: {store.head.seq} events of {cases} cases in {took:.0f} s, views and chain included")
            rows[name] = _measure(store, names)
            if url is None:
                rows["plain sqlite3"] = _plain(store, folder)
    print(f"\n{'median of 9, ms':44}" + "".join(f"{name:>15}" for name in rows) + f"{'SQLite/plain':>15}")
    for what in rows["SQLite"]:
        times = [rows[name].get(what) for name in rows]
        plain = rows["plain sqlite3"].get(what)
        ratio = f"{rows['SQLite'][what] / plain:.1f}" if plain else ""
        print(f"{what:44}" + "".join(f"{t:15.1f}" if t is not None else f"{'':15}" for t in times) + f"{ratio:>15}")
    slow = [(n, w) for n, r in rows.items() for w, ms in r.items() if w.startswith("list") and ms > LIMIT_MS]
    print(f"\nlists within {LIMIT_MS} ms: {slow or 'yes'}")
    return not slow


def _fill(store: Store, cases: int) -> list[str]:
    """Invented cases in batches of 500, each batch one transaction."""
    chance, names = random.Random(20), []
    wrap = store.vault.keys.purpose("patients")
    for start in range(0, cases, 500):
        entries: list[Entry] = []
        with store.vault.writing() as connection:
            for i in range(start, min(start + 500, cases)):
                patient, case, key = new_name("P"), new_name("C"), new_key()
                who = canonical({"name": f"Invented {i}", "born": "1970-01-01"})
                sealed = seal(wrap, key, f"{store.vault.key_file.store} patient {patient}")
                row = {"pseudonym": patient, "created": "2026-01-01T00:00:00.000000Z", "wrapped": sealed}
                connection.execute(insert(schema.patient).values(row))
                sealed = seal(
                    store.vault.keys.of_identity(key), who, f"{store.vault.key_file.store} identity {patient}"
                )
                connection.execute(insert(schema.identity).values(patient=patient, sealed=sealed))
                entries += _case(patient, case, i, chance)
                names.append(case)
            store.ledger.append(connection, entries)
            for case in names[start:]:
                store.cases.refresh(connection, case)
    return names


def _case(patient: str, case: str, number: int, chance: random.Random) -> list[Entry]:
    def entry(kind: Kind, payload: dict[str, object]) -> Entry:
        return Entry(kind, payload, operator, patient, case)

    operator = f"user{number % 40}"
    filled = date(2016, 1, 1) + timedelta(days=chance.randrange(3800))
    before = chance.choice([1, 1, 2, 4, 5])
    plan = {
        "canal": "m",
        "plan": {"rounds": [{"n": k} for k in range(5)], "curve": [chance.random() for _ in range(60)]},
    }
    found = [entry(Kind.CASE, {"tooth": chance.choice([11, 24, 36, 46]), "index_before": before, "operator": operator})]
    found += [entry(Kind.MEASUREMENT, {"length_mm": 20 + chance.random()}) for _ in range(5)]
    found += [entry(Kind.PLAN, plan) for _ in range(3)]
    found += [entry(Kind.CHAIR, {"on": filled.isoformat(), "finished": True, "seconds": chance.randrange(900, 3600)})]
    found += [entry(Kind.CHECK, {"on": filled.isoformat(), "short_mm": chance.random() * 3})]
    for months in range(1, 5):
        on = filled + timedelta(days=300 * months + chance.randrange(200))
        if on < TODAY and chance.random() < 0.6:
            grade = max(1, before - months)
            found.append(entry(Kind.RECALL, {"on": on.isoformat(), "index": {"m": {"a": grade, "b": grade}}}))
    return found + [entry(Kind.NOTE, {"text": "x" * 80}) for _ in range(EVENTS_A_CASE - len(found))]


def _measure(store: Store, names: list[str]) -> dict[str, float]:
    chance = random.Random(1)
    pick = lambda: chance.choice(names)  # noqa: E731
    acts: dict[str, Callable[[], object]] = {
        "list, first page of 50": lambda: store.cases.page(),
        "list, page in the middle": lambda: store.cases.page(offset=len(names) // 2),
        "list by tooth, last page": lambda: store.cases.page(order="tooth", offset=len(names) - 50),
        "list of one user": lambda: store.cases.page(operator="user7"),
        "list of 500, by status": lambda: store.cases.page(status="filled", limit=500),
        "list of recalls due": lambda: store.cases.due(TODAY),
        "list of recalls overdue": lambda: store.cases.overdue(TODAY),
        "find a patient by name among all": lambda: store.patients.find("invented 77"),
        "open a case with its events": lambda: store.cases.now(pick()),
        "plan as it was": lambda: store.plans.current(pick(), "m"),
        "record one event, flushed to the disk": lambda: store.cases.record(pick(), Kind.NOTE, {"text": "x"}, "ann"),
    }
    found = {what: _median(act) for what, act in acts.items()}
    for what, act in {
        "verify the whole chain": lambda: store.verify(),
        "backup, tried out": lambda: store.backups.make(),
        "outcomes of all cases": lambda: summarise(outcomes_of(store, TODAY)),
    }.items():
        found[what] = 1000 * _timed(act)[1]
    return found


def _plain(store: Store, folder: Path) -> dict[str, float]:
    """The same lists by sqlite3 alone."""
    raw = sqlite3.connect(folder / "plain.db", isolation_level=None)
    raw.execute("PRAGMA journal_mode = WAL")
    raw.execute("PRAGMA synchronous = FULL")
    columns = [f.name for f in fields(CaseView)]
    raw.execute(f"CREATE TABLE v ({', '.join(columns)})")
    raw.execute("CREATE INDEX i1 ON v (last_seq)")
    raw.execute("CREATE INDEX i2 ON v (next_due)")
    raw.execute("CREATE TABLE note (seq INTEGER PRIMARY KEY, text)")
    offset = 0
    while rows := store.cases.page(limit=500, offset=offset).rows:
        offset += len(rows)
        raw.execute("BEGIN")
        raw.executemany(f"INSERT INTO v VALUES ({', '.join('?' * len(columns))})", [astuple(r) for r in rows])
        raw.execute("COMMIT")
    due = f"FROM v WHERE next_due != '' AND next_due <= '{TODAY.isoformat()}'"
    queries = {
        "list, first page of 50": ("SELECT count(*) FROM v", "SELECT * FROM v ORDER BY last_seq DESC LIMIT 50"),
        "list of recalls due": (f"SELECT count(*) {due}", f"SELECT * {due} ORDER BY next_due LIMIT 50"),
        "record one event, flushed to the disk": ("INSERT INTO note (text) VALUES ('x')",),
    }
    return {w: _median(lambda qs=qs: [raw.execute(q).fetchall() for q in qs]) for w, qs in queries.items()}


def _median(act: Callable[[], object]) -> float:
    act()
    return 1000 * statistics.median(_timed(act)[1] for _ in range(9))


def _timed(act: Callable[[], object]):
    start = time.perf_counter()
    value = act()
    return value, time.perf_counter() - start


if __name__ == "__main__":
    sys.exit(0 if main(*(int(a) for a in sys.argv[1:2])) else 1)
