"""Heat in three dimensions beside general ways of solving it, in one run: `python -m benchmarks.bench_heat_solid [full]`.

The reference problem (a carrier of 200 deg C for 3 s, 60 s in all, in 11.6 x 11.6 x 16 mm) on graded cells and on 116 x 116 x 160
equal ones (with `full` on all cores too). Beside it, on a reduced box of equal cells, the same system of equations by explicit Euler
(numba) and by backward Euler with conjugate gradients (SciPy); and a small problem by finite elements (scikit-fem). Processor time is
given beside the clock's: others may be using the machine.
"""

import sys
import time
from collections.abc import Callable
from typing import Any

import numba
import numpy as np
from scipy.sparse import coo_array, diags_array
from scipy.sparse.linalg import cg
from tests.support import heat_brick

from canalwright.heat import example, reference, solid
from canalwright.heat.resolution import Resolution
from canalwright.heat.solid.reference import ReferenceB, problem_b, space_b

FINE = Resolution(radial=0.0125, axial=0.00625, growth=1.1, tolerance=0.003)


def timed(work: Callable[[], Any], repeats: int = 3) -> tuple[Any, float, float]:
    """Result, best clock and best processor time, s."""
    clock, cpu, out = [], [], None
    for _ in range(repeats):
        a, b = time.perf_counter(), time.process_time()
        out = work()
        clock.append(time.perf_counter() - a)
        cpu.append(time.process_time() - b)
    return out, min(clock), min(cpu)


def tell(name: str, b: ReferenceB, a: reference.ReferenceA, clock: float, cpu: float) -> None:
    n = len(b.time)
    surface, axis = np.abs(b.surface - a.surface[:n]).max(), np.abs(b.axis - a.axis[:n]).max()
    print(
        f"{name}: {b.cells} cells, {b.steps} steps, {b.stages} stages, clock {clock:.2f} s, processor {cpu:.2f} s "
        f"({1e9 * cpu / b.cells / b.stages:.1f} ns a cell and stage); against (r, z) on the finest grid: "
        f"surface {surface:.2f} K, axis {axis:.2f} K"
    )


@numba.njit
def stencil(t: Any, new: Any, g: Any, nx: int, plane: int, dt: float, steps: int) -> None:
    n = len(t)
    for _ in range(steps):
        for k in range(plane, n - plane):
            x = t[k]
            q = (
                g[0, k] * (t[k + 1] - x) + g[0, k - 1] * (t[k - 1] - x) + g[1, k] * (t[k + nx] - x)
                + g[1, k - nx] * (t[k - nx] - x) + g[2, k] * (t[k + plane] - x) + g[2, k - plane] * (t[k - plane] - x)
            )  # fmt: skip
            new[k] = x + dt * g[3, k] * (q - g[4, k] * x)
        t[plane : n - plane] = new[plane : n - plane]


def others() -> None:
    """The same cells, the same 5 s, three ways."""
    from canalwright.heat.solid.reference import cells_b

    space = space_b(0.2, 0.2, 1.0)
    seconds = 3.0
    _, clock, cpu = timed(lambda: problem_b(space, 0.2, end=seconds))
    state = cells_b(space)
    g, start = state.field.g, state.t.copy()
    nx, plane = state.field.nx, state.field.plane
    rate = float(state.field.rate.max()) / 2
    steps = int(np.ceil(seconds * rate))
    t, new = start.copy(), start.copy()
    stencil(t, new, g, nx, plane, seconds / steps, 1)

    def explicit() -> Any:
        t, new = start.copy(), start.copy()
        stencil(t, new, g, nx, plane, seconds / steps, steps)
        return t

    hot, e_clock, e_cpu = timed(explicit, 1)

    n = len(start)
    i = np.concatenate([np.flatnonzero(g[a]) for a in range(3)])
    offset = np.concatenate([np.full(np.count_nonzero(g[a]), o) for a, o in enumerate((1, nx, plane))])
    value = np.concatenate([g[a][g[a] != 0] for a in range(3)]).astype(float)
    j = i + offset
    stiff = coo_array((np.r_[value, value, -value, -value], (np.r_[i, j, i, j], np.r_[i, j, j, i])), (n, n)).tocsr()
    free = np.flatnonzero(g[3])
    dt = 0.1
    mass = 1 / g[3][free].astype(float)
    inner = stiff[free][:, free].tolil()
    inner.setdiag(inner.diagonal() + g[4][free] + mass / dt)
    inner = inner.tocsr()
    held = stiff[free] @ np.where(g[3] == 0, start, 0.0)

    def implicit() -> Any:
        x = start[free].astype(float)
        for _ in range(round(seconds / dt)):
            b = mass / dt * x - held
            x, _ = cg(inner, b, x0=x, rtol=1e-6, M=diags_array(1 / inner.diagonal()))
        return x

    cold, c_clock, c_cpu = timed(implicit, 1)
    gap = np.sqrt(np.mean((hot[free] - cold) ** 2))
    print(
        f"3 s of heat on {space.size} equal cells of 0.2 mm: ours {clock:.2f} s (processor {cpu:.2f}), explicit Euler "
        f"{e_clock:.2f} ({e_cpu:.2f}; {steps} steps), SciPy CG with Jacobi, backward Euler of {dt} s {c_clock:.2f} ({c_cpu:.2f}); ratios "
        f"of processor time {e_cpu / cpu:.0f} and {c_cpu / cpu:.0f}; root mean square between the two others {gap:.2f} K"
    )


def elements() -> None:
    """A small problem in layers round a hot pin, 40 x 40 x 40 cells, 4 s: ours and trilinear finite elements."""
    mine, clock, cpu = timed(lambda: heat_brick.ours.__wrapped__(0.1))
    theirs, f_clock, f_cpu = timed(lambda: heat_brick.library.__wrapped__(0.1), 1)
    print(
        f"layers round a pin, 64000 cells, 4 s: ours {clock:.2f} s (processor {cpu:.2f}), scikit-fem with SDIRK2 and conjugate gradients "
        f"{f_clock:.1f} ({f_cpu:.1f}): ratio of processor time {f_cpu / cpu:.0f}; greatest difference at five places "
        f"{np.abs(mine - theirs).max():.2f} K before extrapolation, {heat_brick.difference():.2f} K after"
    )


def main(full: bool) -> None:
    begin, cpu = time.perf_counter(), time.process_time()
    problem_b(end=1.0)
    print(
        f"first call (compiles, or loads) {time.perf_counter() - begin:.1f} s, processor {time.process_time() - cpu:.1f} s"
    )
    a = reference.problem_a(FINE)
    tell("graded from 0.05 mm", *_args(lambda: problem_b(), a))
    tell("graded from 0.10 mm", *_args(lambda: problem_b(space_b(0.1, 0.1, 1.25, core=0.6, above=0.5, under=1.5)), a))
    small, _, c1 = timed(lambda: problem_b(space_b(0.2, 0.2, 1.0), fixed_step=0.05, end=3.0))
    large, _, c8 = timed(lambda: problem_b(space_b(0.1, 0.1, 1.0), fixed_step=0.0125, end=1.0), 1)
    per = c1 / small.cells / small.stages, c8 / large.cells / large.stages
    print(
        f"equal cells, 8 to 1: {small.cells} cells {1e9 * per[0]:.2f} ns a cell and stage, {large.cells} cells {1e9 * per[1]:.2f} ns"
    )
    whole = space_b(0.1, 0.1, 1.0)
    tell("equal cells of 0.10 mm, 116 x 116 x 160, one core", *_args(lambda: problem_b(whole), a, 1))
    others()
    elements()
    whole_protocol()
    if full:
        problem_b(whole, end=1.0, wide=True)
        tell("equal cells of 0.10 mm, all cores", *_args(lambda: problem_b(whole, wide=True), a, 1))


def whole_protocol() -> None:
    """Three rounds, three portions, three minutes, in a root with an uneven wall."""
    lumen, protocol = example.lumen(), example.protocol()
    for name, cells in (("standard", solid.Voxels.standard()), ("quick", solid.Voxels.quick())):
        root, r_clock, r_cpu = timed(
            lambda c=cells: solid.from_lumen(lumen, walls=solid.eccentric(lumen, 3.0), voxels=c), 1
        )
        story, clock, cpu = timed(lambda c=cells, r=root: solid.simulate(r, protocol, voxels=c))
        print(
            f"whole protocol of {protocol.seconds:.0f} s, {name}: {root.space.size} cells, {story.steps} steps, {story.stages} stages, "
            f"clock {clock:.2f} s, processor {cpu:.2f} s; building the root {r_clock:.2f} s ({r_cpu:.2f})"
        )


def _args(work: Callable[[], ReferenceB], a: reference.ReferenceA, repeats: int = 3) -> tuple[Any, ...]:
    b, clock, cpu = timed(work, repeats)
    return b, a, clock, cpu


if __name__ == "__main__":
    main("full" in sys.argv[1:])
