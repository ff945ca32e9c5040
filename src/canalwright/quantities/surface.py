"""A response surface: what a costly model said of a few draws, carried to many.

Ordinary least squares on the normal scores of the inputs, linear terms only (Box & Draper 1987, Empirical Model-Building and
Response Surfaces). What the surface does not explain is not thrown away: leave-one-out residuals are
dealt out to the many draws in a fixed order, so that the spread of the model's answers is kept.
"""

import numpy as np
from numpy.typing import NDArray

from canalwright.quantities.sample import Sample

Array = NDArray[np.float64]


def carried(few: Sample, output: Array, many: Sample, *, positive: bool = False) -> Array:
    """Draws of a model's `output` for `many`, from its values (d,) at the rows of `few`; shape (many.size,).

    `few` holds the first rows of `many`. Row 0 (nominal) is kept as the model gave it. `positive`: the surface is
    fitted to the logarithm, so that no draw turns negative. Raises ValueError for fewer draws than inputs + 2, for a
    wrong length, or for values that are not finite (or not positive where they have to be).
    """
    active = [i for i, reading in enumerate(few.readings.values()) if reading.error > 0]
    y = np.asarray(output, dtype=float)
    if y.shape != (few.size,) or few.size < len(active) + 3:
        raise ValueError(
            f"{len(active)} inputs need at least {len(active) + 2} draws and as many answers, got {y.shape}"
        )
    if not np.isfinite(y).all() or (positive and (y <= 0).any()):
        raise ValueError("a response surface needs finite answers (positive ones for a logarithm)")
    if np.ptp(y) < 1e-12:
        return np.full(many.size, y[0])
    target = np.log(y) if positive else y
    x = np.column_stack([np.ones(few.size - 1), few.scores[1:, active]])
    q, r = np.linalg.qr(x)
    slopes = np.linalg.solve(r, q.T @ target[1:])
    leverage = np.clip(np.sum(q**2, axis=1), 0.0, 0.95)
    residual = (target[1:] - x @ slopes) / (1.0 - leverage)
    mean = slopes[0] + many.scores[1:, active] @ slopes[1:]
    dealt = residual[np.arange(many.size - 1) % len(residual)]
    answer = np.concatenate([[target[0]], mean + dealt])
    return np.exp(answer) if positive else answer
