"""A predicted number with its interval."""

import math
from dataclasses import dataclass

from canalwright.quantities.provenance import COMPUTED, Source


@dataclass(frozen=True, slots=True)
class Quantity:
    """One predicted number, its 5-95 % interval, unit and source.

    `supposed` is the share (0 to 1) of the variance of the number that comes from inputs which are
    published averages or assumptions; `leading` names the input that contributes most of it.
    """

    value: float
    low: float
    high: float
    unit: str
    source: Source = COMPUTED
    supposed: float = 0.0
    leading: str = ""

    def __post_init__(self) -> None:
        if not self.low <= self.high:
            raise ValueError(f"interval turned round: low {self.low} > high {self.high} {self.unit}")

    @classmethod
    def exact(cls, value: float, unit: str, source: Source = COMPUTED) -> "Quantity":
        """A number without spread, such as a count chosen by the planner."""
        return cls(value, value, value, unit, source)

    @classmethod
    def share(cls, share: float, draws: int) -> "Quantity":
        """A share of `draws` (0 to 1) with its 90 % interval (Wilson 1927, J Am Stat Assoc 22:209-212).

        The interval is that of the number of draws; the doubt of the model behind them is not in it.
        """
        n, z = max(draws, 1), 1.6449
        centre = (share + z**2 / (2 * n)) / (1 + z**2 / n)
        half = z / (1 + z**2 / n) * math.sqrt(share * (1 - share) / n + z**2 / (4 * n**2))
        return cls(share, max(min(share, centre - half), 0.0), min(max(share, centre + half), 1.0), "")

    def format(self, digits: int = 1) -> str:
        """The number with its interval as people read it: `12.3 (11.9-12.8) mm`."""
        return (f"{self.value:.{digits}f} ({self.low:.{digits}f} to {self.high:.{digits}f}) {self.unit}").strip()

    def as_json(self) -> dict[str, object]:
        """Value, low, high, unit, source, share supposed and leading input, as plain JSON types."""
        return {
            "value": _finite(self.value),
            "low": _finite(self.low),
            "high": _finite(self.high),
            "unit": self.unit,
            "source": {"origin": self.source.origin.value, "detail": self.source.detail},
            "supposed": self.supposed,
            "leading": self.leading,
        }


def _finite(value: float) -> float | None:
    """JSON knows no infinity: an unbounded end is null."""
    return float(value) if abs(value) != float("inf") and value == value else None
