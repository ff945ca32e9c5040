"""The workers: a cluster on this machine, or any Dask scheduler by its address; the same code for both.

    with Fleet(Local(workers=2)) as fleet:            # or Fleet("tcp://10.0.0.5:8786")
        fleet.run(jobs, take)                         # take(outcome) for each, as they come

A few jobs a worker are under way at a time, never the whole cohort. A worker that dies is replaced and its job given to another; a job
that killed its workers several times is set aside. A scheduler that is lost is asked for again for `patience` seconds and gets
what was not finished anew. Whoever reaches a scheduler can run code on its workers: keep it within your own network.
"""

import logging
import queue
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from types import TracebackType
from typing import Any

from canalwright.cohort.job import CohortError, Job, Outcome
from canalwright.cohort.work import work

Client = Any
Future = Any

AHEAD = 3
"""Jobs under way for each thread of a worker: one at work, the others ready to be."""
LOOK, COUNT = 0.5, 5.0
"""How often a silent scheduler is looked at, and its workers are counted, s."""


@dataclass(frozen=True, slots=True)
class Local:
    """A cluster on this machine: number of worker processes, memory of each, and the dashboard's port.

    `workers` None: one for each core; 0: no cluster, one tooth after the other in this process.
    """

    workers: int | None = None
    memory: str = "2GiB"
    dashboard: int | None = 0


class Lost(Exception):
    """The scheduler is gone."""


class Fleet:
    """Workers to be given jobs. Raises CohortError where no scheduler answers at the address."""

    def __init__(self, where: Local | str, *, patience: float = 60.0, answers_within: float = 10.0) -> None:
        self.where, self.patience, self.answers_within = where, patience, answers_within
        self._client: Client = None
        self._cluster: Any = None

    def __enter__(self) -> "Fleet":
        for name in ("distributed", "distributed.nanny", "distributed.client", "bokeh", "tornado"):
            logging.getLogger(name).setLevel(logging.CRITICAL)
        self._connect()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._close()

    @property
    def dashboard(self) -> str:
        """Address of the dashboard; '' where there is none."""
        if self._client is None or (isinstance(self.where, Local) and self.where.dashboard is None):
            return ""
        return str(self._client.dashboard_link or "")

    def threads(self) -> int:
        """Threads of all workers now there, at least one. Raises Lost."""
        try:
            return max(int(sum(self._client.nthreads().values())), 1)
        except (OSError, TimeoutError, RuntimeError) as error:
            raise Lost from error

    def run(self, jobs: Iterable[Job], take: Callable[[Outcome], None]) -> None:
        """Run all jobs and hand over each outcome as it comes, in any order. Raises CohortError where the scheduler stays away."""
        left = {job.ident: job for job in jobs}
        while left:
            try:
                self._drive(left, take)
            except Lost:
                self._again(len(left))

    def _drive(self, left: dict[str, Job], take: Callable[[Outcome], None]) -> None:
        """Until all is done; what is done leaves `left`. Raises Lost."""
        assert self._client is not None
        landed: queue.SimpleQueue[Future] = queue.SimpleQueue()
        waiting, under_way = iter(list(left.values())), dict[str, Future]()
        more, room, counted = True, AHEAD * self.threads(), time.monotonic()
        while left:
            if time.monotonic() - counted > COUNT:
                room, counted = AHEAD * self.threads(), time.monotonic()
            while more and len(under_way) < room:
                job = next(waiting, None)
                if job is None:
                    more = False
                    break
                try:
                    future = self._client.submit(
                        work, job.ident, job.key, job.chain, dict(job.content), key=f"tooth-{job.ident}-{job.key[:12]}", pure=False
                    )  # fmt: skip
                except Exception as error:
                    raise Lost from error
                under_way[job.ident] = future
                future.add_done_callback(landed.put)
            try:
                landed.get(timeout=LOOK)
            except queue.Empty:
                if self._client.status not in ("running", "connecting"):
                    raise Lost from None
            for ident, future in [(i, f) for i, f in under_way.items() if f.status != "pending"]:
                take(_outcome(left[ident], future))
                del under_way[ident], left[ident]
                future.release()

    def _connect(self) -> None:
        library = _library()
        if isinstance(self.where, str):
            try:
                self._client = library.Client(self.where, timeout=self.answers_within, set_as_default=False)
            except (OSError, TimeoutError, ValueError) as error:
                raise CohortError(
                    f"no Dask scheduler answers at {self.where} ({' '.join(str(error).split())[:120]}); start one or check the address"
                ) from None
            return
        # The scheduler serves its pages in any case: without a dashboard at a free port that is not told.
        address = f"127.0.0.1:{self.where.dashboard or 0}"
        self._cluster = library.LocalCluster(
            n_workers=self.where.workers, threads_per_worker=1, processes=True, host="127.0.0.1",
            memory_limit=self.where.memory, dashboard_address=address, silence_logs=logging.CRITICAL,
        )  # fmt: skip
        self._client = library.Client(self._cluster, set_as_default=False)

    def _again(self, left: int) -> None:
        """Connect anew within the time of patience."""
        self._close()
        end = time.monotonic() + self.patience
        while True:
            try:
                return self._connect()
            except CohortError:
                if time.monotonic() >= end:
                    raise CohortError(
                        f"the scheduler at {self.where} was lost with {left} teeth to do and did not come back; "
                        "what was finished is kept: run the same command again to go on"
                    ) from None
                time.sleep(LOOK)

    def _close(self) -> None:
        for item in (self._client, self._cluster):
            if item is not None:
                try:
                    item.close(timeout=5)
                except (OSError, TimeoutError, RuntimeError):
                    continue
        self._client = self._cluster = None


def _library() -> Any:
    """Dask's distributed, loaded only where a cohort runs; it carries no types."""
    import distributed

    return distributed


def _outcome(job: Job, future: Future) -> Outcome:
    """What came of a job; one whose workers died is set aside. Raises Lost for one that the scheduler took with it."""
    if future.status == "finished":
        found: Outcome = future.result()
        return found
    if future.status == "error":
        error = future.exception()
        if isinstance(error, _library().KilledWorker):
            return Outcome(
                job.ident,
                job.key,
                set_aside="its workers died again and again: give them more memory (--memory), or look at this tooth",
            )
        return Outcome(job.ident, job.key, set_aside=f"{type(error).__name__}: {' '.join(str(error).split())[:300]}")
    raise Lost
