"""How soft gutta-percha is, how it flows and how much room it takes.

Softness `s` runs from 0 (crystalline) to 1 (molten). Heating follows two transitions, cooling one that
lies 10-20 K lower: the state lags (a play operator), so s depends on where the material has been:

    s <- min(max(s, heating(T)), cooling(T))
    heating(T) = (S((T - T1)/w) + S((T - T2)/w)) / 2,   cooling(T) = S((T - Tf)/w),   S logistic, w = 2 K

Herschel-Bulkley flow, tau = tau_y + K g^n, with ln tau_y linear in s between the cold and the molten
yield, and K rising with the same ratio and with temperature as Arrhenius says (reference 80 C).
Volume v(T, s) = 1 + a (T - 37) + f (s - s37), the cooled state at 37 C being 1.

Sources: the transitions and their lag in `materials.toml`; Herschel & Bulkley 1926. Left out: elasticity,
ageing above 100-130 C, the slow recrystallisation after some minutes. Checked from 20 to 200 C.

The functions take scalars or arrays and a row of the property table (`materials.table`).
"""

import numpy as np
from numpy.typing import NDArray

from canalwright.compaction.materials import (
    ACTIVATION,
    BODY,
    CONSISTENCY,
    FREEZE,
    INDEX,
    LEFT,
    LOG_RATIO,
    MELT_FIRST,
    MELT_SECOND,
    SLOPE,
    STEP,
    WIDTH,
    YIELD_COLD,
)
from canalwright.kernels import compiler

njit = compiler("canalwright.compaction")

GAS = 8.314e-3  # kJ/(mol K)
REFERENCE = 353.15  # K, where the consistency is given
Array = NDArray[np.float64]


@njit
def heating(temperature, m):  # type: ignore[no-untyped-def]
    """Softness reached on heating to `temperature`."""
    first = 1.0 / (1.0 + np.exp(-(temperature - m[MELT_FIRST]) / WIDTH))
    second = 1.0 / (1.0 + np.exp(-(temperature - m[MELT_SECOND]) / WIDTH))
    return 0.5 * (first + second)


@njit
def lag(softness, temperature, m):  # type: ignore[no-untyped-def]
    """Softness after the temperature has come to `temperature` from a state `softness`."""
    least = heating(temperature, m)
    most = np.maximum(1.0 / (1.0 + np.exp(-(temperature - m[FREEZE]) / WIDTH)), least)
    return np.minimum(np.maximum(softness, least), most)


@njit
def yield_stress(softness, m):  # type: ignore[no-untyped-def]
    """Shear yield stress, MPa."""
    return m[YIELD_COLD] * np.exp(m[LOG_RATIO] * softness)


@njit
def consistency(temperature, softness, m):  # type: ignore[no-untyped-def]
    """Consistency K of the power law, MPa s^n."""
    warm = np.exp(m[ACTIVATION] / GAS * (1.0 / (temperature + 273.15) - 1.0 / REFERENCE))
    return m[CONSISTENCY] * warm * np.exp(-m[LOG_RATIO] * (1.0 - softness))


@njit
def specific_volume(temperature, softness, m):  # type: ignore[no-untyped-def]
    """Volume against that of the cooled state at 37 C; 75 C molten is 1 + `gutta.contraction`."""
    return 1.0 + m[SLOPE] * (temperature - BODY) + m[STEP] * (softness - m[LEFT])


def viscosity(shear_rate: Array | float, temperature: float, softness: float, m: Array) -> Array:
    """Apparent viscosity tau / g, MPa s, at `shear_rate` [1/s] (any shape)."""
    rate = np.asarray(shear_rate, dtype=float)
    power = consistency(temperature, softness, m) * rate ** m[INDEX]
    return np.asarray((yield_stress(softness, m) + power) / rate)
