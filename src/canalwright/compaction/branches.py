"""Flow into side branches, fins and isthmuses: sealer ahead, gutta-percha behind, freezing at the wall.

Sealer (Newtonian, tube d, pressure P): L = (d/4) sqrt(P t / eta), until what lies near the mouth is spent
or the branch is full; then it leaves at the far end (the puff) at the Poiseuille rate.

Gutta-percha (Herschel-Bulkley, one speed for the whole plug): over the length L that it has entered
    P d / 4 - entry = sum(tau_y dx) + sum(K dx) G^n,     dL/dt = d n G / (2 (3 n + 1))
(slot of width w: P w / 2 and w n G / (2 (2 n + 1))). The yield adds to the wall stress of the power law: exact
without yield and at rest, at most a third too little drag between (Buckingham 1921 for n = 1).
Entry loss 4 tau_y ln(D/d), ideal work of drawing the material in (Hill 1950).

Freezing: what enters at core temperature relaxes to the wall of the branch as the mean of a cylinder does,
    (T - Tw)/(Tc - Tw) = sum 4/b_i^2 exp(-b_i^2 a t / r^2)   (Carslaw & Jaeger 1959; three terms),
the branch wall running linearly from the canal wall to the root surface. Each piece remembers when it entered;
the softness lags (see `rheology`). A frozen piece stops the plug by its yield.

Left out: latent heat in the branch, heat carried along it, bends, air that cannot leave, shear heating.
Checked: closed forms to 4 digits. A solution with the radius resolved, by a general-purpose solver, comes 5-35 % less far
(the shell at the wall stiffens before the mean does); the consistency itself is known to a factor of 30.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import erf

from canalwright.compaction.materials import DIFFUSIVITY, INDEX
from canalwright.compaction.rheology import consistency, heating, lag, yield_stress
from canalwright.kernels import compiler

njit = compiler("canalwright.compaction")

Array = NDArray[np.float64]
CELLS = 16
MOST_STEPS = 4000


@njit
def cooled(age, diameter, diffusivity):  # type: ignore[no-untyped-def]
    """Share of the excess temperature left in a cylinder after `age` s; the third term carries the rest of the sum."""
    x = diffusivity * age / (0.25 * diameter * diameter)
    if x > 3.0:
        return 0.0
    return 0.6917 * np.exp(-5.7832 * x) + 0.1313 * np.exp(-30.47 * x) + 0.1770 * np.exp(-110.0 * x)


@njit
def advance_sealer(pressure, seconds, front, length, supply, diameter, viscosity):  # type: ignore[no-untyped-def]
    """Drive sealer for `seconds`: (front [mm], volume beyond [mm3], supply left [mm3], seconds left over).

    `front` is how far it has come in a branch of `length`, `supply` what is left at the mouth. The
    seconds left over begin when the supply is spent.
    """
    if pressure <= 0.0 or seconds <= 0.0 or supply <= 0.0:
        return front, 0.0, supply, seconds
    area = 0.25 * np.pi * diameter * diameter
    rate = diameter * diameter * pressure / (16.0 * viscosity)
    goal = min(front + supply / area, length)
    if goal > front:
        need = (goal * goal - front * front) / rate
        if need >= seconds:
            reached = np.sqrt(front * front + rate * seconds)
            return reached, 0.0, supply - (reached - front) * area, 0.0
        supply = max(supply - (goal - front) * area, 0.0)
        seconds -= need
        front = goal
    if supply <= 1e-12:
        return front, 0.0, 0.0, seconds
    flow = area * 0.5 * rate / max(length, 0.05)
    need = supply / flow
    if need >= seconds:
        return front, flow * seconds, supply - flow * seconds, 0.0
    return front, supply, 0.0, seconds - need


@njit
def advance_all(pressure, seconds, station, front, beyond, supply, length, diameter, viscosity):  # type: ignore[no-untyped-def]
    """Drive sealer into every portal of every draw, in place.

    `pressure` (d, n), `seconds` and `viscosity` (d,), `station` and `length` (k,), the rest (d, k).
    """
    for d in range(len(seconds)):
        for k in range(len(station)):
            front[d, k], out, supply[d, k], _ = advance_sealer(
                pressure[d, station[k]], seconds[d], front[d, k], length[k], supply[d, k], diameter[d, k], viscosity[d]
            )
            beyond[d, k] += out


@njit
def advance_gutta(  # type: ignore[no-untyped-def]
                  pressure, seconds, clock, core, core_soft, mouth, end, diameter, reservoir, slot, length, most, reach,
                  arrived, soft, m):  # fmt: skip
    """How far gutta-percha has come after `seconds` more under `pressure`, mm; it had come to `reach`.

    Temperatures: `core` in the canal (as soft as `core_soft`), `mouth` and `end` of the branch wall. `reservoir` is the width
    of the canal at the mouth, `most` how far it may go. `arrived` and `soft`, shape (CELLS,), remember when each
    piece of the branch was reached and how soft it is; both are changed in place.
    """
    cell = most / CELLS
    n = m[INDEX]
    q = (1.0 + n) / n
    shape = diameter * n / (2.0 * (2.0 * n + 1.0)) if slot else diameter * n / (2.0 * (3.0 * n + 1.0))
    drive_factor = diameter / 2.0 if slot else diameter / 4.0
    thermal = 0.25 * diameter * diameter / (5.7832 * m[DIFFUSIVITY])
    if slot:
        thermal *= 2.34  # plane sheet: (pi/2)^2 against 2.405^2
    spent = 0.0
    for _ in range(MOST_STEPS):
        if spent >= seconds or reach >= most:
            break
        last = min(int(reach / cell), CELLS - 1)
        if arrived[last] < 0.0:
            arrived[last] = clock + spent
            soft[last] = core_soft
        held = 0.0
        drag = 0.0
        age = 0.0
        hold = 0.0
        for c in range(last + 1):
            begin = c * cell
            dx = min(reach, begin + cell) - begin
            if c == last:
                dx = max(dx, 1e-6 * cell)
            wall = mouth + (end - mouth) * min((begin + 0.5 * dx) / length, 1.0)
            age = clock + spent - arrived[c]
            warm = wall + (core - wall) * cooled(age, diameter, m[DIFFUSIVITY]) if core > wall else wall
            soft[c] = lag(soft[c], warm, m)
            hold = yield_stress(soft[c], m)
            held += hold * dx
            drag += consistency(warm, soft[c], m) * dx
        into = np.log(max(reservoir / diameter, 1.0)) * 4.0 * yield_stress(core_soft, m)
        spare = (pressure - into) * drive_factor - held
        if spare <= 1e-4 * pressure * drive_factor:
            break
        span = max(reach, 1e-6 * cell)
        speed = shape * (spare * span / drag) ** (1.0 / n)
        begin = reach**q
        ahead = min((last + 1) * cell, most, reach + max(0.3 * spare / hold, 1e-6 * cell))
        cross = (ahead**q - begin) / (q * speed)
        step = seconds - spent
        if age < 6.0 * thermal:
            step = min(step, 0.1 * thermal + 0.1 * age)
        if cross <= step:
            step = cross
            reach = ahead + 1e-12 * cell
        else:
            reach = (begin + q * speed * step) ** (1.0 / q)
        spent += step
    return min(reach, most)


@njit
def rewarm(soft, arrived, mouth, end, length, most, m):  # type: ignore[no-untyped-def]
    """Soften the pieces that lie in a branch whose wall has been as warm as `mouth` ... `end`, in place."""
    for c in range(CELLS):
        if arrived[c] >= 0.0:
            wall = mouth + (end - mouth) * min((c + 0.5) * most / CELLS / length, 1.0)
            soft[c] = max(soft[c], heating(wall, m))


def newtonian_entry(diameter: ArrayLike, pressure: ArrayLike, seconds: ArrayLike, viscosity: ArrayLike) -> Array:
    """Length of a Newtonian plug driven into a tube: (d/4) sqrt(P t / eta), mm; arguments broadcast."""
    d, p, t, eta = (np.asarray(a, dtype=float) for a in (diameter, pressure, seconds, viscosity))
    return np.asarray(d / 4 * np.sqrt(p * t / eta))


def power_law_entry(diameter: float, pressure: float, seconds: float, consistency: float, index: float) -> float:
    """Length of a power-law plug driven into a tube, mm: dL/dt = d n/(2(3n+1)) (P d / (4 K L))^(1/n) solved."""
    q = (1 + index) / index
    speed = diameter * index / (2 * (3 * index + 1)) * (pressure * diameter / (4 * consistency)) ** (1 / index)
    return float((q * speed * seconds) ** (1 / q))


def yield_limit(diameter: ArrayLike, pressure: ArrayLike, shear: ArrayLike) -> Array:
    """Length at which the yield of the plug holds the pressure: P d / (4 tau_y), mm."""
    return np.asarray(np.asarray(pressure, dtype=float) * diameter / (4 * np.asarray(shear, dtype=float)))


def stefan_number_root(stefan: float) -> float:
    """lambda of the one-phase freezing front: lambda exp(lambda^2) erf(lambda) = Ste / sqrt(pi)."""
    return float(brentq(lambda x: x * np.exp(x * x) * erf(x) - stefan / np.sqrt(np.pi), 1e-9, 10.0))


def open_time(diameter: float, core: float, wall: float, freeze: float, diffusivity: float) -> float:
    """Seconds until gutta-percha that entered at `core` is frozen on average; infinite on a wall above `freeze`."""
    if wall >= freeze:
        return float("inf")
    if core <= freeze:
        return 0.0
    left = (freeze - wall) / (core - wall)
    scale = 0.25 * diameter**2 / diffusivity
    if left >= 1.0:
        return 0.0
    return float(brentq(lambda x: cooled(x * scale, diameter, diffusivity) - left, 0.0, 3.0) * scale)
