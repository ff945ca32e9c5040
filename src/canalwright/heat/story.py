"""`HeatStory`: what happened, over time and along the canal."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.heat.injury import RISE_LIMIT
from canalwright.protocol import Act

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ActHeat:
    """What one act did.

    `front`: deepest place [mm, z] that was soft at any moment of the act (the filling's top where nothing was);
    `surface_rise`: greatest rise at the root surface during it [K] and `surface_level` its station; `apical`: greatest
    temperature of the gutta-percha at the end of the filling; `cooled`: seconds from the start of a `Press` until the
    3 mm of gutta-percha beneath the plugger are all below the freezing range (infinite: not before the next heat, or
    the end).
    """

    act: Act
    start: float
    end: float
    front: float
    surface_rise: float
    surface_level: float
    apical: float
    cooled: float


@dataclass(frozen=True)
class EnergyBook:
    """Where the heat went, J: `stored` = `heater` + `surroundings` + `blood` + `matter` but for `gap`.

    `surroundings`: through the outer borders, the film at the top and the instrument's shaft; `matter`: with gutta-
    percha and
    instruments that came and went; `gross`: sum of the sizes of all flows, what the gap is judged by.
    """

    stored: float
    heater: float
    surroundings: float
    blood: float
    matter: float
    gross: float

    @property
    def gap(self) -> float:
        """What does not add up, J."""
        return self.stored - self.heater - self.surroundings - self.blood - self.matter


@dataclass(frozen=True)
class HeatStory:
    """Temperatures over time `time` (t,) at stations `z` (n,); all arrays are read-only.

    `axis` (t, n): on the axis of the canal (filling, air or instrument); `surface` (t, n): at the root surface;
    `front` (t,): deepest place that is soft; `top` (t,): level of the filling's top; `carrier_tip`, `plugger_tip` (t,):
    z of the
    instrument's tip, NaN when out of the canal; `carrier_temperature` (t,): of the carrier's tip, NaN when it is out;
    `act` (t,): index of the act. By station (n,): `peak_rise` K, `above_47` s and `cem43` min at the root surface.
    """

    time: Array
    z: Array
    axis: Array
    surface: Array
    front: Array
    top: Array
    carrier_tip: Array
    carrier_temperature: Array
    plugger_tip: Array
    act: NDArray[np.int64]
    peak_rise: Array
    above_47: Array
    cem43: Array
    acts: tuple[ActHeat, ...]
    steps: int
    stages: int
    energy: EnergyBook | None = None

    def __post_init__(self) -> None:
        for value in vars(self).values():
            if isinstance(value, np.ndarray):
                value.setflags(write=False)

    @property
    def surface_rise(self) -> float:
        """Greatest rise at the root surface, K."""
        return float(self.peak_rise.max())

    @property
    def surface_level(self) -> float:
        """Station of the greatest rise, mm."""
        return float(self.z[int(np.argmax(self.peak_rise))])

    @property
    def margin(self) -> float:
        """What is left of the limit of 10 K, K (negative: passed)."""
        return RISE_LIMIT - self.surface_rise

    @property
    def deepest_front(self) -> float:
        """Deepest place that was ever soft, mm (z)."""
        return min((a.front for a in self.acts), default=float("nan"))

    @property
    def apical(self) -> float:
        """Greatest temperature of the gutta-percha at the end of the filling, deg C."""
        return max((a.apical for a in self.acts), default=float("nan"))

    def at(self, time: float) -> int:
        """Index of the frame at or just before `time`."""
        return int(np.clip(np.searchsorted(self.time, time, side="right") - 1, 0, len(self.time) - 1))
