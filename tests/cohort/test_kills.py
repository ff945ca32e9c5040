"""The same table to the bit on any workers, and after any kill: a worker, the scheduler, the client."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil
import pytest

from canalwright.cohort.fleet import Fleet, Local
from canalwright.cohort.job import CohortError
from canalwright.cohort.run import Progress, run
from tests.cohort.small import ABOUT, jobs

pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("cohort")]
ROOT = Path(__file__).parents[2]
LONGEST = 240.0


def _until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + LONGEST
    while not true():
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.05)


def _kill(process: "subprocess.Popen[bytes]") -> None:
    """The process and all that it began, at once."""
    try:
        family = [*psutil.Process(process.pid).children(recursive=True), psutil.Process(process.pid)]
    except psutil.NoSuchProcess:
        family = []
    for one in family:
        if one.is_running():
            one.kill()
    process.wait()


@contextmanager
def _dask(*arguments: str) -> Iterator["subprocess.Popen[bytes]"]:
    process = subprocess.Popen(
        [sys.executable, "-m", "dask", *arguments], cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        yield process
    finally:
        _kill(process)


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def _scheduler(port: int) -> tuple[str, ...]:
    return "scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard"


def _worker(port: int) -> tuple[str, ...]:
    return (
        "worker",
        f"tcp://127.0.0.1:{port}",
        "--nworkers",
        "1",
        "--nthreads",
        "1",
        "--no-dashboard",
        "--memory-limit",
        "2GiB",
    )


def test_two_workers_of_which_one_is_killed_give_the_same_table(tmp_path: Path, expected: bytes) -> None:
    killed: list[int] = []

    def tell(progress: Progress) -> None:
        if progress.done == 2 and not killed:
            worker = max(psutil.Process().children(), key=lambda p: p.cpu_times().user)
            killed.append(worker.pid)
            worker.send_signal(signal.SIGKILL)

    ran = run(jobs(), tmp_path, Local(2, dashboard=None), about=ABOUT, tell=tell)
    assert killed and not ran.set_aside
    assert ran.path.read_bytes() == expected


def test_a_scheduler_elsewhere_by_its_address_that_is_killed_and_comes_back(tmp_path: Path, expected: bytes) -> None:
    port = _free_port()
    later: list[subprocess.Popen[bytes]] = []
    try:
        with _dask(*_scheduler(port)) as scheduler, _dask(*_worker(port)):

            def tell(progress: Progress) -> None:
                if progress.done == 3 and not later:
                    _kill(scheduler)
                    for arguments in (_scheduler(port), _worker(port)):
                        command = [sys.executable, "-m", "dask", *arguments]
                        later.append(
                            subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
                        )

            _until(lambda: _answers(port))
            ran = run(jobs(), tmp_path, f"tcp://127.0.0.1:{port}", about=ABOUT, tell=tell, patience=LONGEST)
        assert later and not ran.set_aside
        assert ran.path.read_bytes() == expected
    finally:
        for process in later:
            _kill(process)


def test_a_client_that_is_killed_is_taken_up_where_it_was(tmp_path: Path, expected: bytes) -> None:
    client = subprocess.Popen([sys.executable, "-m", "tests.cohort.small", str(tmp_path)], cwd=ROOT)
    teeth = tmp_path / "teeth"
    try:
        _until(lambda: client.poll() is not None or (teeth.is_dir() and len(list(teeth.glob("*.json"))) >= 2))
    finally:
        _kill(client)
    assert not (tmp_path / "teeth.parquet").exists()
    ran = run(jobs(), tmp_path, Local(1, dashboard=None), about=ABOUT)
    assert 2 <= ran.kept < len(jobs())
    assert ran.path.read_bytes() == expected


def test_no_scheduler_at_the_address_is_told_in_one_line() -> None:
    with pytest.raises(CohortError, match=r"no Dask scheduler answers at tcp://127.0.0.1:\d+") as told:
        Fleet(f"tcp://127.0.0.1:{_free_port()}", answers_within=1.0).__enter__()
    assert "\n" not in str(told.value)


def _answers(port: int) -> bool:
    with socket.socket() as one:
        return one.connect_ex(("127.0.0.1", port)) == 0


def test_processes_of_the_tests_are_gone() -> None:
    mine = [p for p in psutil.Process().children(recursive=True) if "dask" in " ".join(p.cmdline())]
    assert not mine, os.getpid()
