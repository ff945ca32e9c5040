"""A kernel run over parts of its rows on all cores, in threads: the kernels let go of the interpreter's lock.

Threads, not the compiler's own loops, so that canals can be traced beside each other; the parts are the same however many
cores there are, and so are the sums.
"""

import os
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from typing import TypeVar

T = TypeVar("T")

PARTS = 12
FEW = 4096
"""Rows below which one thread does them all: dealing them out would cost more."""


def cores() -> int:
    """How many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def workers() -> Iterator[Executor]:
    """Threads for `each`, as many as there are cores."""
    with ThreadPoolExecutor(cores()) as pool:
        yield pool


def each(work: Callable[[int, int], T], rows: int, pool: Executor | None = None, *, few: int = FEW) -> list[T]:
    """What `work(first, last)` returns for every part of `rows` rows, in order; `pool`: threads that are there already."""
    if rows < few:
        return [work(0, rows)]
    bounds = [(k * rows // PARTS, (k + 1) * rows // PARTS) for k in range(PARTS)]
    if pool is not None:
        return list(pool.map(lambda b: work(*b), bounds))
    with workers() as own:
        return list(own.map(lambda b: work(*b), bounds))
