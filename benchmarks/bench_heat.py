"""Heat: ours against general-purpose libraries in the same run: `python -m benchmarks.bench_heat`.

Reference problem A (one activation, 60 s) with the greatest error against scikit-fem on a fine mesh, and a whole protocol
(sear, three rounds, three portions, some three minutes). Medians of wall time; compilation is shown apart.
"""

import statistics
import time
from collections.abc import Callable

import numpy as np
from tests.support.heat_general import scikit_fem, scipy_direct

from canalwright.heat import Resolution, readings, simulate, simulate_many
from canalwright.heat.example import lumen, protocol
from canalwright.heat.reference import problem_a
from canalwright.quantities import draw

DRAWS = 64


def median(work: Callable[[], object], times: int) -> float:
    """Median wall time of `work`, s."""
    taken = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begin)
    return statistics.median(taken)


def main() -> None:
    begin = time.perf_counter()
    simulate(lumen(), protocol(), resolution=Resolution.quick(), until=0.05)
    problem_a()
    print(f"first call (compilation, or loading from the cache): {time.perf_counter() - begin:.2f} s\n")

    _, surface, axis = scikit_fem(fine=0.012)

    def error(s: np.ndarray, a: np.ndarray) -> float:
        return float(max(np.abs(s - surface).max(), np.abs(a - axis).max()))

    a = problem_a()
    rows = [("ours (RKL2, graded grid)", median(problem_a, 41), error(a.surface, a.axis))]
    for name, solve, fine in (
        ("SciPy sparse LU, SDIRK2", scipy_direct, 0.04),
        ("scikit-fem bilinear, SDIRK2", scikit_fem, 0.03),
    ):
        _, s, x = solve(fine=fine)
        rows.append((name, median(lambda solve=solve, fine=fine: solve(fine=fine), 5), error(s, x)))
    print("reference problem A, error against scikit-fem on a fine mesh (aim: 0.3 K, 5 ms)")
    for name, seconds, wrong in rows:
        print(f"  {name:30s} {seconds * 1e3:8.1f} ms   ratio {seconds / rows[0][1]:6.1f}   error {wrong:.2f} K")

    canal, acts = lumen(), protocol()
    fine = simulate(canal, acts, resolution=Resolution(0.05, 0.0625, 1.12, 0.02))
    print(f"\nwhole protocol, {acts.seconds:.0f} s (aim: 50 ms)")
    for name, resolution in (("standard", Resolution.standard()), ("quick", Resolution.quick())):
        story = simulate(canal, acts, resolution=resolution)
        seconds = median(lambda resolution=resolution: simulate(canal, acts, resolution=resolution), 9)
        wrong = np.abs(story.peak_rise - fine.peak_rise).max()
        print(
            f"  {name:10s} {seconds * 1e3:7.1f} ms   peak rise within {wrong:.2f} K of a fine grid   {story.stages} stages"
        )
    sample = draw(readings(), DRAWS, seed=1)
    draws = {name: sample[name] for name in sample.readings}
    seconds = median(lambda: simulate_many(canal, acts, draws), 3)
    print(f"  {DRAWS} draws on all cores: {DRAWS / seconds:.0f} protocols/s (aim: 20)")


if __name__ == "__main__":
    main()
