"""Quasi-random draws of many readings, and what they say of a computed number.

Scrambled Sobol points (Owen 1998, J Complexity 14:466-489) through `scipy.stats.qmc`. The share of
each input in the doubt of an output is the squared standardised regression coefficient of the output's rank on the
input's normal score (Saltelli et al. 2008, Global Sensitivity Analysis, ch. 1): ranks, so that a long
tail does not decide. First order only: the part that the regression does not explain stays unattributed and is
counted as supposed in proportion.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import qmc

from canalwright.quantities.provenance import COMPUTED, Source
from canalwright.quantities.quantity import Quantity
from canalwright.quantities.reading import Reading

LOW, HIGH = 0.05, 0.95


@dataclass(frozen=True, slots=True)
class Contribution:
    """Share (0 to 1) of one named input in the variance of an output."""

    name: str
    share: float
    supposed: bool


@dataclass(frozen=True)
class Sample:
    """Draws of named readings: `values` has shape (draws, names); row 0 holds the readings themselves."""

    readings: Mapping[str, Reading]
    values: NDArray[np.float64] = field(repr=False)
    scores: NDArray[np.float64] = field(repr=False)

    @property
    def size(self) -> int:
        """Number of draws, the nominal first one included."""
        return len(self.values)

    def __getitem__(self, name: str) -> NDArray[np.float64]:
        """Draws of one reading, shape (draws,)."""
        return self.values[:, self._index(name)]

    def score(self, name: str) -> NDArray[np.float64]:
        """Standard normal scores of one reading, shape (draws,); 0 in the nominal draw."""
        return self.scores[:, self._index(name)]

    def first(self, size: int) -> "Sample":
        """The nominal row and the first `size` draws after it."""
        return Sample(self.readings, self.values[: size + 1], self.scores[: size + 1])

    def _index(self, name: str) -> int:
        try:
            return list(self.readings).index(name)
        except ValueError:
            raise KeyError(f"no reading named {name!r}; there are {', '.join(self.readings)}") from None

    @cached_property
    def _names(self) -> list[str]:
        return list(self.readings)

    @cached_property
    def _supposed(self) -> list[bool]:
        return [reading.source.origin.supposed for reading in self.readings.values()]

    @cached_property
    def _regressor(self) -> tuple[list[int], NDArray[np.float64]]:
        """Inputs that vary, and the matrix (inputs, draws) that turns an output into its regression coefficients."""
        active = [i for i, reading in enumerate(self.readings.values()) if reading.error > 0]
        x = self.scores[1:, active]
        if len(x) <= len(active) + 1 or not active:
            return [], np.zeros((0, len(x)))
        x = (x - x.mean(0)) / np.maximum(x.std(0), 1e-12)
        return active, np.linalg.solve(x.T @ x + 1e-9 * np.eye(len(active)), x.T)

    def contributions(self, output: NDArray[np.float64]) -> tuple[Contribution, ...]:
        """Inputs by their share in the doubt of `output`, shape (draws,), greatest first; none for an output without spread."""
        named = list(self.readings.items())
        shares = self._shares(output[1:], np.argsort(output[1:], kind="stable"))
        found = [Contribution(named[i][0], share, named[i][1].source.origin.supposed) for i, share in shares]
        return tuple(sorted(found, key=lambda c: -c.share))

    def _shares(self, output: NDArray[np.float64], order: NDArray[np.intp]) -> list[tuple[int, float]]:
        """Each varying input with its share in the doubt of `output` (draws without the nominal one, `order` sorts them)."""
        active, solve = self._regressor
        rising = output[order]
        if not active or rising[0] == rising[-1]:
            return []
        rank = _ranks(rising, order)
        slopes = solve @ ((rank - rank.mean()) / rank.std())
        return list(zip(active, (slopes**2 / max(1.0, float(np.sum(slopes**2)))).tolist(), strict=True))

    def summarise(self, output: NDArray[np.float64], unit: str, source: Source = COMPUTED) -> Quantity:
        """The nominal value (draw 0) of `output`, shape (draws,), with its 5-95 % interval.

        Infinite draws count in the interval (an unbounded end stays infinite); NaN is refused.
        Raises ValueError for NaN or a wrong length.
        """
        output = np.asarray(output, dtype=float)
        if output.shape != (self.size,):
            raise ValueError(f"expected {self.size} draws, got shape {output.shape}")
        if np.isnan(output).any():
            raise ValueError("a draw is not a number")
        value = float(output[0])
        if self.size == 1:
            return Quantity(value, value, value, unit, source)
        draws = output[1:]
        # Sorted once, for the interval and for the ranks: a page shows some sixty numbers at once.
        order = np.argsort(draws, kind="stable")
        low = float(draws[order[math.floor(LOW * (len(draws) - 1))]])
        high = float(draws[order[math.ceil(HIGH * (len(draws) - 1))]])
        ranked = sorted(self._shares(draws, order), key=lambda found: -found[1])
        explained = sum(share for _, share in ranked)
        supposed = sum(share for i, share in ranked if self._supposed[i]) / explained if explained > 0 else 0.0
        leading = self._names[ranked[0][0]] if ranked else ""
        return Quantity(value, min(low, value), max(high, value), unit, source, supposed, leading)


def _ranks(rising: NDArray[np.float64], order: NDArray[np.intp]) -> NDArray[np.float64]:
    """Ranks from 1 on of values that `order` sorts to `rising`; equal ones share their mean rank."""
    new = np.concatenate([[True], rising[1:] != rising[:-1]])
    ends = np.append(np.flatnonzero(new), len(rising))
    made = np.empty(len(rising))
    made[order] = (0.5 * (ends[1:] + ends[:-1] + 1))[np.cumsum(new) - 1]
    return made


def draw(readings: Mapping[str, Reading], size: int, seed: int) -> Sample:
    """Draw `size` quasi-random values of each reading (plus the nominal one in row 0), seeded.

    Raises ValueError when `size` is negative.
    """
    if size < 0:
        raise ValueError(f"number of draws must be 0 or more, not {size}")
    count = len(readings)
    if size == 0 or count == 0:
        scores = np.zeros((size, count))
        u = np.full((size, count), 0.5)
    else:
        engine = qmc.Sobol(count, scramble=True, seed=seed)
        u = np.clip(engine.random_base2(int(np.ceil(np.log2(size))) if size > 1 else 0)[:size], 1e-9, 1 - 1e-9)
        scores = ndtri(u)
    columns = [reading.quantile(u[:, i]) for i, reading in enumerate(readings.values())]
    body = np.column_stack(columns) if columns else np.zeros((size, 0))
    nominal = np.array([[reading.value for reading in readings.values()]]).reshape(1, count)
    return Sample(dict(readings), np.vstack([nominal, body]), np.vstack([np.zeros((1, count)), scores]))
