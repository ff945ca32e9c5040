"""One uncertain input."""

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from canalwright.quantities.provenance import MEASURED, Source


class Shape(StrEnum):
    """Distribution of the error of a reading."""

    NORMAL = "normal"
    UNIFORM = "uniform"
    LOGNORMAL = "lognormal"
    SKEWED = "skewed"


@dataclass(frozen=True, slots=True)
class Reading:
    """A value with its error and the bounds that it cannot leave.

    `error` is the standard deviation (normal), the half width (uniform), or the standard deviation
    of the natural logarithm (lognormal, `value` being the median; skewed, a lognormal that begins at
    `least` in place of 0, so that it may hold values of both signs).
    """

    value: float
    error: float
    unit: str
    source: Source = MEASURED
    shape: Shape = Shape.NORMAL
    least: float = -np.inf
    most: float = np.inf

    def __post_init__(self) -> None:
        if self.error < 0 or not np.isfinite(self.error):
            raise ValueError(f"error of a reading must be a finite number >= 0, not {self.error}")
        if not self.least <= self.value <= self.most:
            raise ValueError(f"reading {self.value} {self.unit} outside {self.least} to {self.most}")
        if self.shape is Shape.LOGNORMAL and self.value <= 0:
            raise ValueError(f"a lognormal reading must be positive, not {self.value}")
        if self.shape is Shape.SKEWED and not -np.inf < self.least < self.value:
            raise ValueError(f"a skewed reading must lie above its least value, not at {self.value} from {self.least}")

    def quantile(self, u: NDArray[np.float64]) -> NDArray[np.float64]:
        """Values at probabilities `u` (any shape, in (0, 1)), truncated to the bounds."""
        if self.error == 0:
            return np.full(np.shape(u), self.value)
        if self.shape is Shape.UNIFORM:
            low, high = max(self.value - self.error, self.least), min(self.value + self.error, self.most)
            return np.asarray(low + (high - low) * u)
        if self.shape is Shape.LOGNORMAL:
            return np.asarray(np.exp(self._truncated(u, np.log(self.value), np.log)))
        if self.shape is Shape.SKEWED:
            above = replace(
                self, value=self.value - self.least, shape=Shape.LOGNORMAL, least=0.0, most=self.most - self.least
            )
            return np.asarray(self.least + above.quantile(u))
        return self._truncated(u, self.value, lambda bound: bound)

    def _truncated(self, u: NDArray[np.float64], centre: float, scale) -> NDArray[np.float64]:  # type: ignore[no-untyped-def]
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            below = (
                0.0
                if self.least == -np.inf or (scale is np.log and self.least <= 0)
                else float(ndtr((scale(self.least) - centre) / self.error))
            )
            above = 1.0 if self.most == np.inf else float(ndtr((scale(self.most) - centre) / self.error))
        return np.asarray(centre + self.error * ndtri(below + (above - below) * u))
