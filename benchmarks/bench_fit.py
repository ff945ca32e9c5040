"""Reach and seat beside the same problem in a general-purpose library, in one run: `python -m benchmarks.bench_fit`.

Prints medians and their ratio. The library finds the minimax pose by linear programming (HiGHS through SciPy, 72
directions, every other station) with the same bisection over depth; it is timed on a few draws and scaled.
"""

import statistics
import time
from collections.abc import Callable

import numpy as np
from tests.fit.canals import canal
from tests.fit.reference import pose_at

from canalwright import fit
from canalwright.instruments import Cone, Plugger, Profile
from canalwright.quantities import Reading, Shape, draw

ERRORS = {
    "width": Reading(0.0, 0.03, "mm"), "curve": Reading(1.0, 0.1, "", least=0.3),
    "file": Reading(0.0, 0.02, "mm", shape=Shape.UNIFORM), "length": Reading(20.0, 0.25, "mm"),
    "cone": Reading(0.0, 1.0, "", shape=Shape.UNIFORM),
}  # fmt: skip


def median(work: Callable[[], object], repeats: int = 7) -> float:
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def by_library(lane: fit.Passage, profile: Profile) -> float:
    """Deepest station of draw 0 that the linear programme calls passable."""
    bound = float(fit.seat(profile, lane.z, lane.minor[0])[0])
    low, high = int(np.ceil(max(bound, lane.end) * 10)), len(lane.z) - 6
    while high > low:
        middle = (low + high) // 2
        passes = pose_at(middle, lane.minor[0], lane.centre, profile)[0] <= 0
        low, high = (low, middle) if passes else (middle + 1, high)
    return float(lane.z[low])


def main() -> None:
    start = time.perf_counter()
    fit.warm_up()
    print(f"load compiled parts (compiling them where they are not cached): {time.perf_counter() - start:8.2f} s")
    one = canal(errors=ERRORS, radius=12.0, straight=7.0, size=30, taper=0.05)
    sample = draw(ERRORS, 1000, 1)
    many = fit.Passage.draws(one, sample)
    few = fit.Passage.draws(one, draw(ERRORS, 200, 1))
    tool = Profile.uniform(0.45, 0.02)

    ours = median(lambda: fit.reach(tool, many))
    theirs = median(lambda: by_library(many.nominal, tool), 3) * many.draws_count
    print(f"reach, stiff, 1000 draws:    {1e3 * ours:8.1f} ms   library {theirs:8.1f} s   ratio {theirs / ours:9.0f}")
    print(
        f"reach, elastic, 1000 draws:  {1e3 * median(lambda: fit.reach(tool, many, elastic=True, strain_limit=0.02)):8.1f} ms"
    )
    tray = [
        Plugger(f"{t:.2f}", Profile.uniform(t, taper)) for t in np.arange(0.35, 1.1, 0.05) for taper in (0.02, 0.04)
    ]
    print(f"whole tray, {len(tray)} tools, 200 draws: {1e3 * median(lambda: fit.reaches(tray, few), 3):5.1f} ms")
    cone = Cone("30/0.04", Profile.uniform(0.30, 0.04), 30)
    offset = cone.tolerance * sample["cone"]
    print(
        f"seat, 1000 draws:            {1e3 * median(lambda: fit.seat(cone.profile, many.z, many.minor, offset=offset)):8.1f} ms"
    )
    cones = [
        Cone(f"{s}/{t}", Profile.uniform(s / 100, t), s) for s in (20, 25, 30, 35, 40, 45) for t in (0.02, 0.04, 0.06)
    ]
    print(
        f"choose of {len(cones)} cones, 1000 draws: {1e3 * median(lambda: fit.choose_cone(cones, many, scores=sample['cone']), 3):5.1f} ms"
    )


if __name__ == "__main__":
    main()
