"""What other processes do in the tests; imports little, so that they start quickly."""

import os
from pathlib import Path

from canalwright.records import Kind, Passphrase, Store

SECRET = Passphrase("green teapot walks over rivers")


def write_many(home: Path, url: str | None, case: str, name: str) -> None:
    with Store.open(home, SECRET, url=url) as store:
        for n in range(25):
            store.cases.record(case, Kind.NOTE, {"n": n}, name)


def write_and_die(home: Path, case: str) -> None:
    store = Store.open(home, SECRET)
    store.cases.record(case, Kind.NOTE, {"text": "committed"}, "ann")
    os._exit(0)
