"""What is known of each way of finding the length: where it looks, how far it is off; from `methods.toml`."""

import tomllib
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from scipy.special import ndtri

from canalwright.anatomy import Tooth
from canalwright.quantities import Origin, Source


class Landmark(StrEnum):
    """A place at the end of the root; from coronal to apical: constriction, foramen, apex (the radiographic terminus)."""

    CONSTRICTION = "constriction"
    FORAMEN = "foramen"
    APEX = "apex"


@dataclass(frozen=True, slots=True)
class Method:
    """A way of measuring: the landmark it finds, its bias (reading less truth), its errors [mm] and what it costs.

    `shared` is the standard deviation that readings of one canal have in common, `own` that of a single reading.
    `device` names what those readings share: both marks of a locator err together. `cost` in minutes; `dose` where it
    takes an exposure.
    """

    name: str
    device: str
    sees: Landmark
    bias: float
    shared: float
    own: float
    cost: float
    dose: bool
    source: Source

    @property
    def error(self) -> float:
        """Standard deviation of one reading, mm."""
        return float(np.hypot(self.shared, self.own))


@dataclass(frozen=True, slots=True)
class Distance:
    """A published distance between two landmarks: mean, spread (one standard deviation) and source."""

    value: float
    spread: float
    source: Source


def method(name: str) -> Method:
    """What is known of a method; raises ValueError naming those there are."""
    row = _table()["method"].get(name)
    if row is None:
        raise ValueError(f"no way of measuring named {name!r}; there are {', '.join(method_names())}")
    return Method(
        name, row.get("device", name), Landmark(row["sees"]), row["bias"], row["shared"], row["own"], row["cost"], row.get("dose", False),
        _source(row["source"]),
    )  # fmt: skip


def method_names() -> tuple[str, ...]:
    """Names of all methods."""
    return tuple(_table()["method"])


def error_from_share(within: float, limit: float = 0.5, count: int | None = None) -> float:
    """Standard deviation [mm] of an unbiased normal error of which the share `within` lies within `limit` mm.

    limit / z((1 + share) / 2). With `count` readings the share is first drawn in, (k + 1/2) / (n + 1), so that
    "all of 23" gives no zero. For the figure that a locator's own study states. Raises ValueError outside (0, 1].
    """
    share = (within * count + 0.5) / (count + 1) if count is not None else within
    if not 0 < share < 1 or limit <= 0:
        raise ValueError(f"a share within {limit} mm must lie between 0 and 1 (100 % needs the count), not {within}")
    return float(limit / ndtri((1 + share) / 2))


def apex_to_foramen(tooth: Tooth) -> Distance:
    """Anatomical apex to foramen."""
    row = _table()["apex_to_foramen"][_group(tooth)]
    return Distance(row["value"], row["spread"], _source(row["source"]))


def foramen_to_constriction(age: float | None) -> Distance:
    """Foramen to constriction, which grows with age; without an age the middle, and a little more spread."""
    table = _table()["foramen_to_constriction"]
    young, old, spread = table["young"], table["old"], table["spread"]
    if age is None:
        apart = (old["value"] - young["value"]) / 2
        return Distance(young["value"] + apart, float(np.hypot(spread, apart)), _source(table["source"]))
    value = float(np.interp(age, (young["age"], old["age"]), (young["value"], old["value"])))
    return Distance(value, spread, _source(table["source"]))


def _group(tooth: Tooth) -> str:
    if tooth.position <= 3:
        return "anterior"
    return f"{'upper' if tooth.upper else 'lower'} {'premolar' if tooth.position <= 5 else 'molar'}"


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads(files("canalwright.readiness").joinpath("methods.toml").read_text(encoding="utf-8"))


def _source(name: str) -> Source:
    row = _table()["sources"][name]
    if row.get("assumed"):
        return Source(Origin.ASSUMED, row["cite"])
    return Source(Origin.AVERAGE, f"{row['cite']}, {row['seen']}")
