"""A linear model with normal errors: a few unknowns, a few readings, what they say together and whether they agree.

Unknowns u ~ N(m, diag(v)); readings y = H u + b + e, e ~ N(0, diag(r)). Given y, u is normal with
P = (diag(1/v) + H' diag(1/r) H)^-1 and mean m + P H' diag(1/r) (y - b - H m): Bayes for the linear model (Lindley &
Smith 1972, J R Stat Soc B 34:1-41). P does not depend on y, so what a further reading adds is known before it is made. Readings
agree as far as (y - b - H m)' S^-1 (y - b - H m), S = H diag(v) H' + diag(r), follows chi-square; an unknown of
which nothing is known (v very large) takes one degree of freedom. Left out: errors with longer tails than normal.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

Array = NDArray[np.float64]
UNKNOWN = 1e6


@dataclass(frozen=True)
class Model:
    """Prior means (m,), prior variances (m,), rows of the readings (n, m), their values less bias (n,) and variances (n,)."""

    mean: Array
    variance: Array
    rows: Array
    values: Array
    noise: Array

    def posterior(self) -> tuple[Array, Array]:
        """Mean (m,) and covariance (m, m) of the unknowns."""
        weighted = self.rows.T / self.noise
        covariance: Array = np.asarray(np.linalg.inv(np.diag(1 / self.variance) + weighted @ self.rows), dtype=float)
        mean: Array = self.mean + covariance @ weighted @ (self.values - self.rows @ self.mean)
        return mean, covariance

    def shares(self, of: Array) -> tuple[Array, Array]:
        """Share of each prior (m,) and of each reading's noise (n,) in the variance of the combination `of` (m,).

        The error of the estimate is a sum of independent parts, one from each prior and each reading.
        """
        _, covariance = self.posterior()
        prior = (of @ covariance) ** 2 / self.variance
        noise = (of @ covariance @ self.rows.T) ** 2 / self.noise
        total = float(prior.sum() + noise.sum())
        return prior / total, noise / total

    def disagreement(self) -> tuple[float, int, float]:
        """Chi-square, its degrees of freedom and the chance of so much disagreement by measuring error alone."""
        unknown = int((self.variance >= UNKNOWN).sum())
        freedom = len(self.values) - unknown
        if freedom < 1:
            return 0.0, 0, 1.0
        apart = self.values - self.rows @ self.mean
        spread = (self.rows * self.variance) @ self.rows.T + np.diag(self.noise)
        found = float(apart @ np.linalg.solve(spread, apart))
        return found, freedom, float(chi2.sf(found, freedom))

    def without(self, index: int) -> "Model":
        """The model with one reading left out."""
        keep = np.arange(len(self.values)) != index
        return Model(self.mean, self.variance, self.rows[keep], self.values[keep], self.noise[keep])

    def with_reading(self, row: Array, noise: float) -> "Model":
        """The model with one more reading, of which only the variance is known."""
        rows = np.vstack([self.rows, row])
        return Model(self.mean, self.variance, rows, np.append(self.values, 0.0), np.append(self.noise, noise))

    def deviation(self, index: int) -> float:
        """Reading `index` less what all others say of it, in standard deviations of that difference."""
        mean, covariance = self.without(index).posterior()
        row = self.rows[index]
        return float((self.values[index] - row @ mean) / np.sqrt(row @ covariance @ row + self.noise[index]))
