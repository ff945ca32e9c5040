"""Tissue in a fin or a branch: how deep hypochlorite dissolves it in a time, how long a depth takes.

Equation. The canal holds the concentration C. Behind a front at depth x all tissue is gone; hypochlorite diffuses to the
front, which moves at v = k c, c the concentration there, and uses up n per volume of tissue:

    D (C - c) / x = n k c      so      dx/dt = k C / (1 + k n x / D),      x + k n x^2 / (2 D) = k C t

Linear at first (the reaction decides), then with the square root of time (diffusion decides). k is proportional to
nothing but temperature: 5-fold for 25 K; D grows as T / viscosity. Sources: `figures.toml`. Agitation
multiplies the depth in the diffusion regime: D takes its square. `diffuse` solves the same without the quasi-steady
assumption. Left out: tissue that swells or floats off, gas from the reaction, outflow through the far end,
chlorine used up by dentine, spent solution in the canal itself (see `budget`).
Range: 0.5 to 8.25 %, 15 to 60 degrees, depths to 5 mm.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canalwright.irrigation.figures import figure, tables
from canalwright.quantities import Quantity, Sample, draw

Array = NDArray[np.float64]
WARM = 25.0
COOL = 20.0


class SoakError(ValueError):
    """A bath that cannot be; the message says what is allowed."""


@dataclass(frozen=True, slots=True)
class Bath:
    """Hypochlorite in the canal: `percent` by weight and volume, `temperature` in the canal [deg C], how it is agitated."""

    percent: float = 3.0
    temperature: float = 33.0
    agitation: str = "none"

    def __post_init__(self) -> None:
        if not 0.5 <= self.percent <= 8.25:
            raise SoakError(f"hypochlorite of {self.percent} %, allowed 0.5 to 8.25 %")
        if not 15 <= self.temperature <= 60:
            raise SoakError(f"{self.temperature} deg C in the canal, allowed 15 to 60")
        if self.agitation not in agitations():
            raise SoakError(f"agitation {self.agitation!r}; there are {', '.join(agitations())}")


def agitations() -> tuple[str, ...]:
    """Ways of agitating that have a figure."""
    return tuple(tables()["agitation"])


def front(time: ArrayLike, percent: float, speed: ArrayLike, demand: ArrayLike, diffusivity: ArrayLike) -> Array:
    """Depth of the front [mm] after `time` [s]; the positive root of x + k n x^2 / (2 D) = k C t."""
    k, n, d = (np.asarray(v, dtype=float) for v in (speed, demand, diffusivity))
    driven = k * percent / 100 * np.asarray(time, dtype=float)
    return np.asarray(2 * driven / (1 + np.sqrt(1 + 2 * k * n * driven / d)))


def time_for(depth: ArrayLike, percent: float, speed: ArrayLike, demand: ArrayLike, diffusivity: ArrayLike) -> Array:
    """Time [s] until the front is `depth` mm deep: the inverse of `front`."""
    k, n, d = (np.asarray(v, dtype=float) for v in (speed, demand, diffusivity))
    x = np.asarray(depth, dtype=float)
    return np.asarray((x + k * n * x * x / (2 * d)) / (k * percent / 100))


def dissolved(seconds: float, bath: Bath, *, draws: int = 512, seed: int = 6) -> Quantity:
    """Depth [mm] dissolved from the mouth of a fin or branch in `seconds`, with its 5-95 % interval."""
    if not 0 <= seconds <= 86400:
        raise SoakError(f"{seconds} s of contact, allowed 0 to 86400")
    sample, speed, demand, diffusivity = _draws(bath, draws, seed)
    return sample.summarise(front(seconds, bath.percent, speed, demand, diffusivity), "mm")


def dissolution_time(depth: float, bath: Bath, *, draws: int = 512, seed: int = 6) -> Quantity:
    """Time [s] that tissue `depth` mm deep takes, with its 5-95 % interval; the bath is kept fresh."""
    if not 0 <= depth <= 10:
        raise SoakError(f"tissue {depth} mm deep, allowed 0 to 10 mm")
    sample, speed, demand, diffusivity = _draws(bath, draws, seed)
    return sample.summarise(time_for(depth, bath.percent, speed, demand, diffusivity), "s")


def diffusivity_at(temperature: float) -> float:
    """Diffusivity [mm2/s]: that at 20 degrees by Stokes and Einstein, viscosity of water by Vogel's formula."""

    def water(t: float) -> float:
        return float(np.exp(-3.7188 + 578.919 / (t + 273.15 - 137.546)))  # mPa s

    warm = (temperature + 273.15) / (COOL + 273.15) * water(COOL) / water(temperature)
    return figure("dissolve", "diffusivity").value * warm


def _draws(bath: Bath, draws: int, seed: int) -> tuple[Sample, Array, Array, Array]:
    names = ("speed", "warmth", "demand", "diffusivity")
    readings = {name: figure("dissolve", name) for name in names}
    readings["agitation"] = figure("agitation", bath.agitation)
    sample = draw(readings, draws, seed)
    speed = sample["speed"] * sample["warmth"] ** ((bath.temperature - COOL) / WARM)
    spread = sample["diffusivity"] / figure("dissolve", "diffusivity").value
    factor = np.maximum(sample["agitation"], 1.0) ** 2
    return sample, speed, sample["demand"], diffusivity_at(bath.temperature) * spread * factor
