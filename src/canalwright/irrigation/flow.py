"""Flow of irrigant from a needle: pressure in the barrel, pressure at the end of the canal, exchange beyond the tip.

Equations (SI-consistent in mm, s, MPa, t / mm3):
    in the bore     dP = 128 mu L Q / (pi d^4) + 1.5 rho V^2 / 2   (Hagen-Poiseuille, plus entry and jet)
    in the annulus  Q = pi dP/dz / (8 mu) [R^4 - r^4 - (R^2 - r^2)^2 / ln(R / r)], concentric, laminar
    at the end      P = annulus + s rho Q V / A: what the jet loses in momentum over the section A at the tip; s is the
                    share that goes on towards the end (0.8 open, 0.25 side opening)
    exchange        E = E0 (Q / 260)^(1/2), E0 2 mm open, 1 mm side opening, at most 1.3 E0
An eccentric needle lets up to 2.5 times as much through the annulus: the low end of the interval. E0 is published, the power ours.
Left out: pulsation, turbulence beyond its effect on E0, outflow through the foramen, foam.
Range: 10 to 300 mm3/s; 25 to 31 gauge.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canalwright.anatomy.lumen import Lumen
from canalwright.instruments import Needle
from canalwright.irrigation.figures import figure
from canalwright.quantities import Quantity, Reading, Sample, Shape, draw

Array = NDArray[np.float64]
LEAST, MOST = 1.0, 600.0
LOSS = 1.5
ECCENTRIC = 2.5
GAP = 0.02
"""A needle nearer to the wall than this all round [mm] counts as wedged."""


class FlowError(ValueError):
    """A flow that cannot be; the message says what to change."""


@dataclass(frozen=True)
class Delivery:
    """Irrigant through one needle whose tip lies `short` mm from the end, at `rate` mm3/s.

    `barrel`, `apical` pressures [MPa]; `exchange` mm beyond the tip; `reaches` chance that fresh irrigant gets to the end;
    `gap` least clearance to the wall [mm]; `over` chance that the apical pressure is above the line for caution.
    """

    needle: Needle
    short: float
    rate: float
    barrel: Quantity
    apical: Quantity
    exchange: Quantity
    reaches: Quantity
    over: Quantity
    gap: float

    @property
    def wedged(self) -> bool:
        """True where the needle leaves no way back for the irrigant: never press then."""
        return self.gap < GAP


def room(lumen: Lumen, needle: Needle) -> Array:
    """Clearance [mm] on either side of a needle at each station of a shaped lumen, shape (n,); below 0 it does not pass.

    By width alone: how deep it gets in a curve is for `canalwright.fit.reach_of`.
    """
    return np.asarray((lumen.minor - needle.outside) / 2)


def bore_pressure(needle: Needle, rate: ArrayLike, viscosity: ArrayLike = 1e-9, density: ArrayLike = 1e-9) -> Array:
    """Pressure [MPa] in the barrel for a rate [mm3/s]; any shapes that broadcast."""
    q = np.asarray(rate, dtype=float)
    speed = 4 * q / (np.pi * needle.inside**2)
    friction = 128 * np.asarray(viscosity) * needle.working_length * q / (np.pi * needle.inside**4)
    return np.asarray(friction + LOSS * np.asarray(density) * speed**2 / 2)


def rate_at(needle: Needle, pressure: float, viscosity: float = 1e-9, density: float = 1e-9) -> float:
    """Rate [mm3/s] that a pressure in the barrel [MPa] drives: the positive root of `bore_pressure`."""
    if pressure < 0:
        raise FlowError(f"pressure {pressure} MPa must be 0 or more")
    a = LOSS * density / 2 * (4 / (np.pi * needle.inside**2)) ** 2
    b = 128 * viscosity * needle.working_length / (np.pi * needle.inside**4)
    return float(2 * pressure / (b + np.sqrt(b * b + 4 * a * pressure)))


def annulus_pressure(z: Array, width: Array, outside: float, tip: float, rate: float, viscosity: float = 1e-9) -> float:
    """Pressure [MPa] that drives `rate` [mm3/s] back from the tip at z = `tip` to the orifice, needle in the middle.

    `width` (n,) diameter of the round canal of the same area at stations `z` (n,). Infinite where the needle fills it.
    """
    along = np.append(tip, z[z > tip + 1e-9])
    outer, inner = np.interp(along, z, width) / 2, outside / 2
    if (outer <= inner + 1e-6).any():
        return float("inf")
    passage = outer**4 - inner**4 - (outer**2 - inner**2) ** 2 / np.log(outer / inner)
    return float(np.trapezoid(8 * viscosity * rate / (np.pi * passage), along))


def exchange_length(opening: str, rate: ArrayLike, reference: ArrayLike | None = None) -> Array:
    """How far beyond the tip the irrigant is renewed [mm]."""
    known = reference if reference is not None else figure("exchange", opening).value
    share = (np.asarray(rate, dtype=float) / figure("exchange", "at").value) ** figure("exchange", "power").value
    return np.asarray(np.asarray(known) * np.minimum(share, 1.3))


def deliver(
    lumen: Lumen, needle: Needle, tip: float, end: float, rate: float | None = None, *, draws: int = 512, seed: int = 4
) -> Delivery:
    """Delivery with the needle's tip at z = `tip` in the shaped `lumen`, the preparation ending at z = `end`.

    Raises FlowError for a rate outside 1 to 600 mm3/s or a tip outside the canal.
    """
    mean = rate if rate is not None else figure("flow", "rate").value
    if not LEAST <= mean <= MOST:
        raise FlowError(f"rate {mean} mm3/s, allowed {LEAST:g} to {MOST:g} (0.001 to 0.6 mL/s): is it in mL/min?")
    if not end - 1e-6 <= tip <= lumen.z[-1]:
        raise FlowError(
            f"needle tip {tip:.1f} mm from the terminus: the preparation goes from {end:.1f} to {lumen.z[-1]:.1f} mm"
        )
    sample = _draw(needle, draws, seed)
    rates = mean * (sample["rate"] / figure("flow", "rate").value if rate is None else np.ones(sample.size))
    width = np.sqrt(lumen.minor * lumen.major)
    one = annulus_pressure(lumen.z, width, needle.outside, tip, 1.0, 1.0)
    gap = float(np.interp(tip, lumen.z, lumen.minor) - needle.outside) / 2
    back = one * rates * sample["viscosity"] / sample["eccentric"]
    speed = 4 * rates / (np.pi * needle.inside**2)
    section = np.pi / 4 * float(np.interp(tip, lumen.z, width)) ** 2
    apical = back + sample["axial"] * sample["density"] * rates * speed / section
    far = exchange_length(needle.opening, rates, sample["exchange"])
    short = max(tip - end, 0.0)
    limit = figure("flow", "limit").value
    return Delivery(
        needle,
        short,
        float(mean),
        sample.summarise(bore_pressure(needle, rates, sample["viscosity"], sample["density"]), "MPa"),
        sample.summarise(np.where(np.isfinite(apical), apical, np.inf), "MPa"),
        sample.summarise(far, "mm"),
        _chance(far[1:] >= short),
        _chance(apical[1:] > limit),
        gap,
    )


def _draw(needle: Needle, draws: int, seed: int) -> Sample:
    return draw(
        {
            "rate": figure("flow", "rate"),
            "viscosity": figure("flow", "viscosity"),
            "density": figure("flow", "density"),
            "axial": figure("exchange", "axial", needle.opening),
            "exchange": figure("exchange", needle.opening),
            "eccentric": Reading((1 + ECCENTRIC) / 2, (ECCENTRIC - 1) / 2, "", shape=Shape.UNIFORM),
        },
        draws,
        seed,
    )


def _chance(hits: NDArray[np.bool_]) -> Quantity:
    """Share of the draws with its counting error (Wilson, 90 %)."""
    n, p = len(hits), float(np.mean(hits))
    z = 1.645
    middle, half = (
        (p + z * z / (2 * n)) / (1 + z * z / n),
        z * np.sqrt(p * (1 - p) / n + z * z / (4 * n * n)) / (1 + z * z / n),
    )
    return Quantity(p, max(min(middle - half, p), 0.0), min(max(middle + half, p), 1.0), "")
