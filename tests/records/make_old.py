"""How the old records in `data/` were made: `python -m tests.records.make_old 0001 tests/records/data`.

Run once when a version of the tables is about to be followed by the next; never again for the same version.
"""

import sys
from pathlib import Path

from canalwright.records.cases import Cases
from canalwright.records.events import Kind
from canalwright.records.ledger import Ledger
from canalwright.records.patients import Identity, Patients
from canalwright.records.vault import create_vault
from tests.records.conftest import CHEAP, SECRET, Clock


def make(home: Path, revision: str, url: str | None = None) -> str:
    """Records of an older version, with an invented case; gives its name."""
    vault = create_vault(home, SECRET, url=url, cost=CHEAP, clock=Clock(), revision=revision)
    cases = Cases(vault, Ledger(vault))
    patient = Patients(vault, cases.ledger, cases).add("ann", Identity("Ada Invented", "1970-02-03"))
    case = cases.open(patient, {"tooth": 46, "index_before": 3}, "ann")
    cases.record(case, Kind.PLAN, {"canal": "mesial", "plan": {"cone": "a"}}, "ann")
    cases.record(case, Kind.CHECK, {"on": "2024-03-01"}, "ann")
    vault.close()
    return case


if __name__ == "__main__":
    print(make(Path(sys.argv[2]) / sys.argv[1], sys.argv[1]))
