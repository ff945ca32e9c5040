"""A whole plan, a preview and a downpack: `python -m benchmarks.bench_plan`.

Prints medians on this machine, and the downpack beside SciPy's sparse direct solver on a problem of the same kind
(see bench_heat for the solver alone). First-call compilation is timed apart.
"""

import statistics
import time
from collections.abc import Callable
from dataclasses import replace

from canalwright import casefile, planning
from canalwright.planning import Choices


def median(work: Callable[[], object], repeats: int = 7) -> float:
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def main() -> None:
    canal, tray = casefile.demo_case().canals[0], casefile.generic_tray()
    start = time.perf_counter()
    base = planning.plan(canal, tray)
    print(f"first plan, compilation or loading of kernels included   {time.perf_counter() - start:8.3f} s")
    whole = median(lambda: planning.plan(canal, tray))
    few = median(lambda: planning.plan(canal, tray, Choices(draws=64)))
    moved = replace(base.choices, activation=2.5)
    quick = median(lambda: planning.preview(base, moved))
    trimmed = replace(base.choices, trim=1.0)
    refit = median(lambda: planning.preview(base, trimmed))
    story = median(lambda: planning.simulate(base))
    print(f"whole plan, 1000 draws                                   {whole:8.3f} s   aim 2 s")
    print(f"whole plan, 64 draws                                     {few:8.3f} s")
    print(f"preview, heat control moved                              {quick:8.3f} s   aim 0.1 s")
    print(f"preview, cone control moved (fit anew)                   {refit:8.3f} s")
    print(f"downpack and backfill simulated, heat and compaction     {story:8.3f} s")
    print(f"ratio whole plan / preview                               {whole / quick:8.1f}")


if __name__ == "__main__":
    main()
