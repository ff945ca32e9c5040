"""Results on the disk, tooth by tooth, so that a kill at any moment costs only what was under way.

    OUT/teeth/IDENT.json     one tooth: its key, and its rows or the reason why it was set aside; written whole or not at all
    OUT/teeth.parquet        all teeth in one table, made from the above in the order of the jobs
    OUT/costs.csv            processor seconds by tooth: no part of the result, since they differ from run to run

Numbers are written as the shortest decimals that give the same number back: the table is the same to the bit however often the
work was cut short.
"""

import json
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from canalwright.casefile import toml
from canalwright.cohort.job import CohortError, Job, Outcome


class Store:
    """The folder of one cohort. Raises CohortError where it cannot be one."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.teeth = folder / "teeth"
        if folder.exists() and not folder.is_dir():
            raise CohortError(f"{folder}: is a file; name a folder for the results")
        self.teeth.mkdir(parents=True, exist_ok=True)

    def put(self, outcome: Outcome) -> None:
        """Write one tooth; it is on the disk when this returns."""
        told = {
            "ident": outcome.ident, "key": outcome.key, "set_aside": outcome.set_aside,
            "seconds": round(outcome.seconds, 3), "rows": list(outcome.rows),
        }  # fmt: skip
        toml.write(json.dumps(told, allow_nan=False), self._path(outcome.ident))

    def get(self, job: Job) -> Outcome | None:
        """What is there of a job, None where there is nothing that still holds (another input, another version, a damaged file)."""
        try:
            told = json.loads(self._path(job.ident).read_text(encoding="utf-8"))
            found = Outcome(told["ident"], told["key"], tuple(told["rows"]), told["set_aside"], float(told["seconds"]))
        except (OSError, ValueError, KeyError, TypeError):
            return None
        return found if (found.ident, found.key) == (job.ident, job.key) else None

    def done(self, jobs: Iterable[Job], *, again: bool = False) -> dict[str, Outcome]:
        """By name, what need not be done any more; with `again` those that were set aside are tried anew."""
        found = {job.ident: outcome for job in jobs if (outcome := self.get(job)) is not None}
        return {name: outcome for name, outcome in found.items() if outcome.good or not again}

    def write(self, name: str, content: bytes) -> Path:
        """A file beside the teeth, whole or not at all."""
        path = self.folder / name
        path.parent.mkdir(exist_ok=True)
        beside = path.with_name(f".{path.name}.{os.getpid()}")
        beside.write_bytes(content)
        beside.replace(path)
        return path

    def write_json(self, name: str, told: Any) -> Path:
        """The same for JSON."""
        return self.write(name, (json.dumps(told, indent=2, sort_keys=True, allow_nan=False) + "\n").encode())

    def _path(self, ident: str) -> Path:
        return self.teeth / f"{ident}.json"
