"""`run`: all jobs of a cohort, taken up where an earlier run was cut short, into one table.

    found = run(jobs, out, Local(workers=2), about={...}, tell=print)

Each tooth is on the disk before the next is counted as done. Kill the client, a worker or the scheduler at any moment: the same call
finishes the rest, and the table is the same to the bit.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyarrow as pa

from canalwright.cohort import table
from canalwright.cohort.fleet import Fleet, Local
from canalwright.cohort.job import CohortError, Job, Outcome
from canalwright.cohort.store import Store
from canalwright.cohort.work import work


@dataclass(frozen=True)
class Progress:
    """How far a run is: teeth done (`set_aside` of them without result), of all; `kept` from an earlier run; the dashboard's address."""

    done: int
    all: int
    set_aside: int
    kept: int
    dashboard: str = ""


@dataclass(frozen=True)
class Ran:
    """What a run gave: the table and where it lies, and what was set aside, by tooth, with its reason."""

    table: pa.Table
    path: Path
    outcomes: Mapping[str, Outcome]
    kept: int

    @property
    def set_aside(self) -> dict[str, str]:
        """Teeth without result, with the reason."""
        return {name: o.set_aside for name, o in self.outcomes.items() if not o.good}

    @property
    def seconds(self) -> float:
        """Processor seconds of all teeth, those of earlier runs included."""
        return sum(o.seconds for o in self.outcomes.values())


def run(
    jobs: Sequence[Job],
    out: Path,
    where: Local | str | None = None,
    *,
    about: Mapping[str, Any],
    again: bool = False,
    patience: float = 60.0,
    tell: Callable[[Progress], None] = lambda progress: None,
) -> Ran:
    """Run `jobs` and write `OUT/teeth.parquet`. Raises CohortError for two teeth of one name, or a scheduler that does not answer.

    `about` says what the cohort is (its settings and input hashes); `again`: try anew what was set aside.
    """
    _apart(jobs)
    store = Store(out)
    outcomes = store.done(jobs, again=again)
    kept = len(outcomes)
    left = [job for job in jobs if job.ident not in outcomes]

    dashboard = ""

    def take(outcome: Outcome) -> None:
        store.put(outcome)
        outcomes[outcome.ident] = outcome
        tell(_progress(jobs, outcomes, kept, dashboard))

    if left and isinstance(where, Local) and where.workers == 0:
        for job in left:
            take(work(job.ident, job.key, job.chain, job.content))
    elif left:
        warm_up()
        with Fleet(where if where is not None else Local(), patience=patience) as fleet:
            dashboard = fleet.dashboard
            tell(_progress(jobs, outcomes, kept, dashboard))
            fleet.run(left, take)
    made = table.table_of(jobs, outcomes, about)
    path = store.write("teeth.parquet", table.parquet(made))
    costs = [f"{job.ident},{outcomes[job.ident].seconds:.3f}" for job in jobs]
    store.write("costs.csv", "\n".join(["tooth,processor_seconds", *costs, ""]).encode())
    return Ran(made, path, outcomes, kept)


def warm_up() -> None:
    """Compile the kernels once, into the cache that all workers of this machine load from."""
    from canalwright import planning

    planning.warm_up().join()


def _progress(jobs: Sequence[Job], outcomes: Mapping[str, Outcome], kept: int, dashboard: str) -> Progress:
    return Progress(len(outcomes), len(jobs), sum(not o.good for o in outcomes.values()), kept, dashboard)


def _apart(jobs: Iterable[Job]) -> None:
    seen: set[str] = set()
    for job in jobs:
        if job.ident.lower() in seen:
            raise CohortError(f"tooth {job.ident!r} is there twice (case does not count); give each its own name")
        seen.add(job.ident.lower())
