"""Flow with cooling in a branch by a general-purpose solver (scipy `solve_ivp`), radius resolved.

Each axial piece cools by conduction in the radius (Bessel series); Herschel-Bulkley flow with the local yield and
consistency gives its flow rate Q(G) = pi * integral r^2 ((G r / 2 - tau_y) / K)_+^(1/n) dr at the pressure gradient G; all pieces
carry the same flow and their pressure drops add up to the pressure at the mouth.
"""

import numpy as np
from scipy.integrate import solve_ivp
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq
from scipy.special import j0, j1, jn_zeros

from canalwright.compaction.materials import DIFFUSIVITY, INDEX
from canalwright.compaction.rheology import consistency, lag, yield_stress

ROOTS = jn_zeros(0, 60)
RADII = (np.arange(40) + 0.5) / 40


def penetration(pressure, seconds, core, mouth, end, diameter, length, m, cells=12):
    """Length [mm] after `seconds`."""
    edges = np.linspace(0, length, cells + 1)
    arrived, reach, clock = [], 1e-4, 0.0
    for c in range(cells):
        arrived.append(clock)
        walls = mouth + (end - mouth) * (edges[: c + 1] + 0.5 * length / cells) / length

        def speed(t, y, c=c, walls=walls):
            lengths = np.append(np.diff(edges[: c + 1]), max(y[0] - edges[c], 1e-6))
            ages = t - np.array(arrived)
            return [_speed(pressure, lengths, ages, core, walls, diameter, m)]

        done = solve_ivp(
            speed, (clock, seconds), [reach], rtol=1e-4, atol=1e-7, method="LSODA",
            events=_stop(lambda t, y, c=c: y[0] - edges[c + 1]),
        )  # fmt: skip
        reach, clock = float(done.y[0, -1]), float(done.t[-1])
        if done.status != 1:
            return reach
    return length


def _stop(event):
    event.terminal = True
    return event


def _speed(pressure, lengths, ages, core, walls, diameter, m):
    radius, n = diameter / 2, m[INDEX]
    curves = []
    gradients = pressure / np.sum(lengths) * np.geomspace(1e-3, 1e5, 400)
    for age, wall in zip(ages, walls, strict=True):
        decay = np.exp(-(ROOTS**2) * m[DIFFUSIVITY] * max(age, 0) / radius**2)
        series = (2 / (ROOTS * j1(ROOTS)) * decay) @ j0(np.outer(ROOTS, RADII))
        temperature = wall + (core - wall) * np.clip(series, 0, 1)
        soft = lag(np.ones_like(temperature), temperature, m)
        tau, k = yield_stress(soft, m), consistency(temperature, soft, m)
        rate = (np.maximum(gradients[:, None] * RADII * radius / 2 - tau, 0) / k) ** (1 / n)
        flow = np.pi * radius**3 * np.mean(RADII**2 * rate, axis=1)
        moves = flow > 1e-12
        if not moves.any():
            return 0.0
        curves.append((np.log(flow[moves]), np.log(gradients[moves]), gradients[max(int(np.argmax(moves)) - 1, 0)]))
    if sum(start * dx for (_, _, start), dx in zip(curves, lengths, strict=True)) >= pressure:
        return 0.0
    inverses = [PchipInterpolator(q, g) for q, g, _ in curves]
    low = max(q[0] for q, _, _ in curves)
    high = min(q[-1] for q, _, _ in curves)

    def drop(log_flow):
        return sum(np.exp(inverse(log_flow)) * dx for inverse, dx in zip(inverses, lengths, strict=True)) - pressure

    if drop(low) >= 0:
        return 0.0
    return float(np.exp(brentq(drop, low, high)) / (np.pi * radius**2))
