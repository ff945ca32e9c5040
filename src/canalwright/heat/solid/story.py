"""`SolidStory`: what happened in the root, on its surface and in the bone round it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.heat.injury import BONE_CEM43, BONE_SECONDS, RISE_LIMIT
from canalwright.heat.solid.space import Array, Single
from canalwright.heat.solid.tissue import CANCELLOUS, CORTICAL, SOFT, Solid
from canalwright.heat.story import ActHeat, EnergyBook

SECTORS = 16


@dataclass(frozen=True)
class SurfaceHeat:
    """The root surface at points p: `position` (p, 3) mm in the world, `station` [mm, z], `angle` [deg] from the canal's greatest width.

    `peak_rise` K, `when` s and in which `act` (index) it came, `above_47` s, `cem43` min.
    """

    position: Array
    station: Array
    angle: Array
    peak_rise: Array
    when: Array
    act: NDArray[np.int64]
    above_47: Array
    cem43: Array

    @property
    def hottest(self) -> int:
        """Index of the point of the greatest rise."""
        return int(np.argmax(self.peak_rise))

    @property
    def injured(self) -> NDArray[np.bool_]:
        """Points above 47 deg C for a minute, or with 16 equivalent minutes: derived limits, see `canalwright.heat.injury`."""
        return np.asarray((self.above_47 >= BONE_SECONDS) | (self.cem43 >= BONE_CEM43))

    def by_sector(self, z: Array, values: Array, sectors: int = SECTORS) -> Array:
        """Greatest of `values` (p,) by band between stations `z` (n + 1,) and sector of the circumference; (n, sectors), NaN: no point."""
        row = np.searchsorted(z, self.station, side="right") - 1
        sector = np.floor(np.mod(self.angle, 360.0) / 360.0 * sectors).astype(int) % sectors
        out = np.full((len(z) - 1, sectors), -np.inf)
        good = (row >= 0) & (row < len(z) - 1)
        np.maximum.at(out, (row[good], sector[good]), values[good])
        return np.where(np.isfinite(out), out, np.nan)


@dataclass(frozen=True)
class BoneHeat:
    """Every cell [z, y, x], single precision: greatest `temperature` [deg C], `act` in which it came, `above_47` s, `cem43` min."""

    temperature: Single
    act: Single
    above_47: Single
    cem43: Single


@dataclass(frozen=True)
class SolidStory:
    """The protocol in the solid root; arrays over time `time` (t,) and rows `z` (n,), mm.

    `axis` (t, n) deg C; `front`, `top`, `carrier_tip`, `plugger_tip` (t,) mm (z); `carrier_temperature` (t,) of its tip, deg C; NaN
    when out; `act` (t,) index. `film` (t, ...) temperatures of the pictured cells (see `pictures`), `surface_film` (t, p) of the
    surface; both have no columns when no film was wanted.
    """

    solid: Solid
    time: Array
    z: Array
    axis: Array
    front: Array
    top: Array
    carrier_tip: Array
    carrier_temperature: Array
    plugger_tip: Array
    act: NDArray[np.int64]
    surface: SurfaceHeat
    bone: BoneHeat
    acts: tuple[ActHeat, ...]
    steps: int
    stages: int
    film: Single
    surface_film: Single
    energy: EnergyBook | None = None

    @property
    def surface_rise(self) -> float:
        """Greatest rise at the root surface, K."""
        return float(self.surface.peak_rise.max())

    @property
    def surface_level(self) -> float:
        """Its station, mm (z)."""
        return float(self.surface.station[self.surface.hottest])

    @property
    def surface_angle(self) -> float:
        """Its direction, degrees from the canal's greatest width."""
        return float(np.mod(self.surface.angle[self.surface.hottest], 360.0))

    @property
    def surface_time(self) -> float:
        """When it came, s."""
        return float(self.surface.when[self.surface.hottest])

    @property
    def guilty(self) -> int:
        """Index of the act during which it came. Heat needs seconds to reach the surface: see `heated_by`."""
        return int(self.surface.act[self.surface.hottest])

    @property
    def heated_by(self) -> int:
        """Index of the last act of heat (sear, heat, bite or portion) begun by then, that brought it (-1: none)."""
        hot = [i for i, a in enumerate(self.acts) if type(a.act).__name__ in ("Sear", "Heat", "Bite", "Inject")]
        return max((i for i in hot if i <= self.guilty), default=-1)

    @property
    def margin(self) -> float:
        """What is left of the limit of 10 K, K (negative: passed)."""
        return RISE_LIMIT - self.surface_rise

    @property
    def bone_cells(self) -> NDArray[np.bool_]:
        """Cells [z, y, x] of bone or soft tissue beyond the ligament."""
        return np.asarray(np.isin(self.solid.labels, (CORTICAL, CANCELLOUS, SOFT)))

    @property
    def bone_peak(self) -> float:
        """Greatest temperature of the bone, deg C."""
        return float(self.bone.temperature[self.bone_cells].max())

    def bone_volume(self, *, above_47: float = BONE_SECONDS, cem43: float = BONE_CEM43) -> float:
        """Bone that was above 47 deg C for `above_47` s or got `cem43` equivalent minutes, mm3."""
        x, y, z = self.solid.space.widths()
        volume = z[:, None, None] * y[None, :, None] * x[None, None, :]
        hurt = (self.bone.above_47 >= above_47) | (self.bone.cem43 >= cem43)
        return float(np.sum(volume[hurt & self.bone_cells]))

    @property
    def deepest_front(self) -> float:
        """Deepest place that was ever soft, mm (z)."""
        return min((a.front for a in self.acts), default=float("nan"))
