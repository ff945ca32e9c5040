"""How fast the compaction answers, and beside a general-purpose solver: `python -m benchmarks.bench_compaction`.

Prints medians and ratios measured in this run; the first call (compiled or read from the cache) is reported apart.
"""

import time
from collections.abc import Callable
from statistics import median

import numpy as np
from tests.compaction import scene
from tests.compaction.reference import penetration

from canalwright import compaction
from canalwright.compaction.branches import CELLS, advance_gutta
from canalwright.compaction.materials import table
from canalwright.quantities import draw


def timed(work: Callable[[], object], repeats: int = 7) -> float:
    spans = []
    for _ in range(repeats):
        begin = time.perf_counter()
        work()
        spans.append(time.perf_counter() - begin)
    return median(spans)


def main() -> None:
    canal, plan = scene.lumen(), scene.protocol(snug=0.8)
    portals = [scene.lateral(3.0), scene.lateral(6.0, 0.15), scene.lateral(9.0, 0.2)]
    heat = scene.temperatures(canal, plan)
    sample = draw(compaction.readings(portals=portals), 199, 1)

    def one() -> object:
        return compaction.simulate(canal, portals, plan, heat)

    def many() -> object:
        return compaction.simulate_many(canal, portals, plan, heat, sample)

    first = timed(one, 1)
    story = compaction.simulate_many(canal, portals, plan, heat, sample)
    m = table({})[0]

    def branch() -> object:
        memory = np.full(CELLS, -1.0), np.zeros(CELLS)
        return advance_gutta(5.0, 5.0, 0.0, 70.0, 1.0, 40.0, 38.0, 0.2, 0.2, False, 2.0, 2.0, 0.0, *memory, m)

    def general() -> object:
        return penetration(5.0, 5.0, 70.0, 40.0, 38.0, 0.2, 2.0, m)

    ours, theirs = timed(branch, 50), timed(general, 3)
    print(f"whole protocol, first call              {first:8.3f} s")
    print(f"whole protocol, one run                 {timed(one):8.4f} s")
    print(f"whole protocol, 200 draws               {timed(many):8.4f} s   (aim 0.3 s)")
    print(f"quantities of a plan from 200 draws     {timed(lambda: compaction.summarise(story, sample)):8.4f} s")
    print(f"one branch with cooling                 {ours:8.6f} s")
    print(f"the same by scipy solve_ivp, radial     {theirs:8.4f} s   {theirs / ours:.0f} times as long")


if __name__ == "__main__":
    main()
