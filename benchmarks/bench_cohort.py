"""Many virtual teeth: `python -m benchmarks.bench_cohort [teeth, 2000 unless told] [figure.svg]`.

Each tooth is one mesiobuccal canal of a lower first molar, one protocol, 200 draws, the (r, z) heat model run for every draw. Printed are
the processor seconds of a tooth, the time until 100, 250, 500, ... teeth are done by two workers (linear where the machine is
quiet), one worker against two, and Python's own process pool on the same teeth beside the cluster. The aim is 2,000 teeth in ten
minutes on two cores.
"""

import multiprocessing
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from tests.cohort.small import jobs

from canalwright.cohort.fleet import Local
from canalwright.cohort.job import Job, Outcome
from canalwright.cohort.run import Progress, run, warm_up
from canalwright.cohort.work import work
from canalwright.report.axes import Axes
from canalwright.report.curves import LEFT, RIGHT, TOP, WIDTH, document
from canalwright.report.options import Options
from canalwright.report.svg import el, path

MARKS = (25, 50, 100, 250, 500, 1000, 1500, 2000, 5000)
FEW, AIM = 100, 600.0
Curve = list[tuple[int, float]]


def timed(teeth: list[Job], workers: int, folder: Path) -> tuple[Curve, float, list[dict[str, object]]]:
    """Seconds until each mark from the first tooth's start, processor seconds a tooth, and the rows."""
    begun: list[float] = []
    curve: Curve = []

    def tell(progress: Progress) -> None:
        if not begun:
            begun.append(time.perf_counter())
        if progress.done in MARKS or progress.done == progress.all:
            curve.append((progress.done, time.perf_counter() - begun[0]))

    ran = run(teeth, folder, Local(workers, dashboard=None), about={"bench": True}, tell=tell)
    assert not ran.set_aside, ran.set_aside
    return curve, ran.seconds / len(teeth), ran.table.to_pylist()


def pooled(teeth: list[Job]) -> float:
    """The same teeth with Python's own pool of two processes, the time of its start left out."""
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as pool:
        list(pool.map(_one, teeth[:2]))
        start = time.perf_counter()
        list(pool.map(_one, teeth))
        return time.perf_counter() - start


def _one(job: Job) -> Outcome:
    return work(job.ident, job.key, job.chain, job.content)


def figure(curves: dict[str, Curve], target: Path) -> None:
    """Seconds over teeth, one line for each number of workers."""
    options = Options(prefix="scaling", font_size=3.2)
    most_x = max(n for curve in curves.values() for n, _ in curve)
    most_y = max(s for curve in curves.values() for _, s in curve)
    axes = Axes(LEFT, TOP, WIDTH - LEFT - RIGHT, 62.0, (0.0, most_x), (0.0, most_y * 1.05), options)
    drawn = [axes.y_axis("seconds", grid=True), axes.x_axis("teeth")]
    for i, (name, curve) in enumerate(curves.items()):
        points = np.array([(axes.x(n), axes.y(s)) for n, s in [(0, 0.0), *curve]])
        drawn.append(el("path", d=path(points), fill="none", stroke=("#1d4468", "#8a3c0a")[i % 2], stroke_width=0.6))
        drawn.append(axes.write(name, float(points[-1][0]) - 2, float(points[-1][1]) - 3, anchor="end"))
    notes = [f"{name}: " + ", ".join(f"{n} teeth {s:.0f} s" for n, s in curve) + "." for name, curve in curves.items()]
    target.write_text(document(options, "Time of a cohort", notes, drawn, TOP + 75.0), encoding="utf-8")


def main(count: int = 2000, target: Path | None = None) -> None:
    start = time.perf_counter()
    warm_up()
    print(f"kernels compiled or loaded once for all workers          {time.perf_counter() - start:8.1f} s")
    with tempfile.TemporaryDirectory(prefix="cw-bench-") as folder:
        two, cost, rows = timed(jobs(count, draws=200), 2, Path(folder) / "two")
        few = min(FEW, count)
        one, _, alone = timed(jobs(few, draws=200), 1, Path(folder) / "one")
    assert alone == rows[: len(alone)], "one and two workers must give the same rows"
    both = next((s for n, s in two if n >= few), two[-1][1])
    print(f"processor seconds of a tooth                             {cost:8.3f} s   aim 0.6 s")
    for n, seconds in two:
        print(
            f"{n:6d} teeth on 2 workers                               {seconds:8.1f} s   {1000 * seconds / n:7.0f} ms a tooth"
        )
    faster = one[-1][1] / both
    print(
        f"{few:6d} teeth on 1 worker                                {one[-1][1]:8.1f} s   2 workers are {faster:.2f} times as fast"
    )
    pool = pooled(jobs(few, draws=200))
    print(f"{few:6d} teeth on Python's own pool of 2                  {pool:8.1f} s   cluster / pool {both / pool:.2f}")
    whole = two[-1][1] * 2000 / two[-1][0]
    print(
        f"  2000 teeth{', from these,' if count != 2000 else ''} on 2 workers take {whole / 60:.1f} min; aim {AIM / 60:.0f} min"
    )
    print("rows of 1 and 2 workers are the same to the bit")
    if target is not None:
        figure({"2 workers": two, "1 worker": one}, target)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000, Path(sys.argv[2]) if len(sys.argv) > 2 else None)
