"""Diffusion with reaction in a fin, solved on a grid: the reference for the front of `dissolve`.

    c_t = D c_xx - n k m c,    m_t = -k m c,    c(0) = C (the canal), c_x(L) = 0 (closed end)

c hypochlorite [mg/mm3], m share of tissue left. Finite volumes, backward Euler for both, solved by Newton's method, so that
hypochlorite used up equals n times the tissue gone to rounding.
Order: one in time, two in space where c is smooth, one at a sharp front. For k large: Neumann's solution of the
melting problem, x = 2 s sqrt(D t), sqrt(pi) s exp(s^2) erf(s) = C / n (Carslaw & Jaeger 1959, 11.2). With m held at 1:
c / C = cosh(p (1 - x / L)) / cosh(p), p = L sqrt(n k / D) (Thiele 1939, Ind Eng Chem 31:916-920).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_banded
from scipy.optimize import brentq
from scipy.special import erf

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Course:
    """Result by time (t,): `depth` [mm] of tissue gone (integral of 1 - m), `taken` hypochlorite drawn in [mg/mm2].

    `x` (n,) cell centres; `concentration`, `tissue` (n,) at the end.
    """

    time: Array
    depth: Array
    taken: Array
    x: Array
    concentration: Array
    tissue: Array


def course(
    length: float, seconds: float, held: float, *, diffusivity: float, demand: float, rate: float, cells: int = 100,
    steps: int = 200, consumed: bool = True,
) -> Course:  # fmt: skip
    """Soak a fin `length` mm deep for `seconds` with `held` mg/mm3 kept at its mouth.

    `rate`: k [mm3/(mg s)]. `consumed` false: tissue stays (for the steady state). Raises ValueError for sizes not above 0.
    """
    if min(length, seconds, held, diffusivity, demand, rate) <= 0 or cells < 4 or steps < 1:
        raise ValueError("lengths, times, concentrations and rates must be more than 0, with 4 cells or more")
    h, dt = length / cells, seconds / steps
    x: Array = np.asarray((np.arange(cells) + 0.5) * h, dtype=float)
    c, m = np.zeros(cells), np.ones(cells)
    flow = diffusivity / h**2
    below, above = np.full(cells, -flow), np.full(cells, -flow)
    above[0], below[-1] = 0.0, 0.0
    out = np.full(cells, 2 * flow)
    out[0], out[-1] = 3 * flow, flow  # half a cell to the mouth; nothing through the end
    depth, taken = np.zeros(steps + 1), np.zeros(steps + 1)
    for step in range(steps):
        new = c
        for _ in range(40):
            # Newton on c alone: tissue after the step is m / (1 + k c dt), so the sink n k m c / (1 + k c dt) is smooth.
            met = 1 + rate * new * dt if consumed else np.ones(cells)
            pull = demand * rate * m / met**2
            matrix = np.vstack([above, 1 / dt + out + pull, below])
            right = c / dt + pull * new - demand * rate * m * new / met
            right[0] += 2 * flow * held
            better = np.maximum(solve_banded((1, 1), matrix, right), 0.0)
            done = float(np.max(np.abs(better - new))) < 1e-13 * held
            new = better
            if done:
                break
        taken[step + 1] = taken[step] + dt * 2 * diffusivity / h * (held - new[0])
        c, m = new, m / (1 + rate * new * dt) if consumed else m
        depth[step + 1] = float(np.sum(1 - m)) * h
    return Course(np.asarray(np.linspace(0, seconds, steps + 1), dtype=float), depth, taken, x, c, m)


def neumann(held: float, demand: float) -> float:
    """s of the front x = 2 s sqrt(D t): root of sqrt(pi) s exp(s^2) erf(s) = held / demand."""
    ratio = held / demand
    return float(brentq(lambda s: np.sqrt(np.pi) * s * np.exp(s * s) * erf(s) - ratio, 1e-9, 5.0))


def thiele(x: Array, length: float, modulus: float) -> Array:
    """Steady share of the concentration at depths `x` in a fin whose tissue is not used up."""
    return np.asarray(np.cosh(modulus * (1 - x / length)) / np.cosh(modulus))
