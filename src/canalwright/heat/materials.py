"""Thermal properties, device behaviour and what surrounds the root; nominal values, spreads and sources.

The values live in `materials.toml` (uncertain, drawn) and `constants.toml` (not drawn), each with its source.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cache
from importlib.resources import files
from typing import Any

from canalwright.quantities import Origin, Reading, Sample, Shape, Source


@dataclass(frozen=True)
class Materials:
    """Thermal properties and device behaviour (SI: W/(m K), J/(m3 K), W/(m2 K), 1/s; deg C; thickness mm).

    Without arguments: the nominal values. `capacity` is volumetric, `latent` J/m3. Raises ValueError for a value that
    is not finite, or not positive where it must be.
    """

    gp_conductivity: float = -1.0
    gp_capacity: float = -1.0
    gp_latent: float = -1.0
    gp_melt_first: float = -1.0
    gp_melt_second: float = -1.0
    gp_freeze: float = -1.0
    sealer_resistance: float = -1.0
    dentine_conductivity: float = -1.0
    dentine_capacity: float = -1.0
    ligament_conductivity: float = -1.0
    ligament_capacity: float = -1.0
    ligament_perfusion: float = -1.0
    bone_conductivity: float = -1.0
    bone_capacity: float = -1.0
    bone_perfusion: float = -1.0
    contact_conductance: float = -1.0
    carrier_offset: float = -1000.0
    carrier_power_share: float = -1.0
    canal_temperature: float = -1.0
    blood_capacity: float = -1.0
    steel_conductivity: float = -1.0
    steel_capacity: float = -1.0
    sealer_conductivity: float = -1.0
    sealer_capacity: float = -1.0
    air_conductivity: float = -1.0
    air_capacity: float = -1.0
    melt_width: float = -1.0
    melt_share_first: float = -1.0
    freeze_width: float = -1.0
    soft_fraction: float = -1.0
    ligament_thickness: float = -1.0
    body_temperature: float = -1.0
    room_temperature: float = -1.0
    plugger_temperature: float = -1.0
    mouth_temperature: float = -1.0
    top_film: float = -1.0
    thermostat_band: float = -1.0

    def __post_init__(self) -> None:
        nominal = _nominal()
        for item in fields(self):
            value = getattr(self, item.name)
            if value == item.default:
                object.__setattr__(self, item.name, nominal[item.name])
            elif not abs(value) < float("inf") or (value < 0 and item.name != "carrier_offset"):
                raise ValueError(
                    f"{item.name} of the heat model must be a finite number of the right sign, not {value}"
                )

    @classmethod
    def drawn(cls, sample: Sample, i: int) -> "Materials":
        """The materials of draw `i`: readings that `sample` does not hold keep their nominal values."""
        return cls.of({n: float(sample[n][i]) for n in readings() if n in sample.readings})

    @classmethod
    def of(cls, values: Mapping[str, float]) -> "Materials":
        """Nominal values, but those named; names that are not the heat model's are refused (ValueError)."""
        unknown = set(values) - set(_nominal())
        if unknown:
            raise ValueError(f"the heat model has no property named {', '.join(sorted(unknown))}")
        return replace(cls(), **values)


@dataclass(frozen=True)
class Surroundings:
    """What lies round the root: perfused tissue (`film_conductance` None), or a film to air or a bath.

    `film_conductance` W/(m2 K); `temperature` deg C, of the air or bath, which is also that of the root at the start.
    """

    film_conductance: float | None = None
    temperature: float = 37.0

    @classmethod
    def tissue(cls) -> "Surroundings":
        """Periodontal ligament and bone with blood flow, at body temperature."""
        return cls()

    @classmethod
    def film(cls, conductance: float, temperature: float = 37.0) -> "Surroundings":
        """An extracted root: about 10-20 W/(m2 K) in still air, 500 in a still and 1000 in a stirred bath."""
        if not 0 <= conductance < float("inf"):
            raise ValueError(f"film conductance must be 0 or more W/(m2 K), not {conductance}")
        return cls(conductance, temperature)


@cache
def readings() -> Mapping[str, Reading]:
    """The uncertain inputs of the heat model by name, each with its spread and source."""
    origins = {"assumed": Origin.ASSUMED}
    return {
        name: Reading(
            row["value"], row["error"], row["unit"],
            Source(origins.get(row["seen"], Origin.AVERAGE), f"{row['source']} ({row['seen']})"),
            Shape(row["shape"]), row["least"], row["most"],
        )
        for name, row in _table("materials.toml").items()
    }  # fmt: skip


@cache
def _nominal() -> Mapping[str, float]:
    both = {**_table("materials.toml"), **_table("constants.toml")}
    return {name: float(row["value"]) for name, row in both.items()}


@cache
def _table(name: str) -> dict[str, Any]:
    return tomllib.loads((files("canalwright.heat") / name).read_text(encoding="utf-8"))
