"""How wide the ligament of one root is, as all rays across its surface tell it together.

A ray tells its ligament's width w only through the blur: often no more than "not very wide". Of the whole root many rays
tell it well. With mu the root's mean of log w, rays spread about it by `LOCAL`, and mu itself about the usual width by
`USUAL_ERROR`, the posterior of mu is the mean of what each ray says by itself, weighted by 1 / (its variance + LOCAL^2), and
of the usual width. Rays nearer than the blur see the same place: they count as one.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
USUAL, USUAL_ERROR = 0.2, 0.4
"""Mean width of a root's ligament (mm) and standard deviation of its logarithm: published means run from 0.15 to 0.38 mm."""
LOCAL = 0.2
"""Standard deviation of the logarithm of the width from place to place of one root."""


@dataclass(frozen=True)
class Pooled:
    """A root's mean of log w, its standard deviation, and by how much it moves (2,) with the soft tissue's grey and with the
    logarithm of the spread.
    """

    log_width: float
    error: float
    shift: Array


def pooled(told: Array, error: Array, moved: Array, patch: float) -> Pooled:
    """The root's ligament from rays fitted with a prior about the usual width.

    `told`, `error` (m,): log w of each ray and its standard deviation; `moved` (m, 3): by how much it moves with the soft
    tissue's grey, the logarithm of the spread and the prior's mean; `patch`: how many rays see one place. Rays that only
    say what the prior says have no weight.
    """
    free = np.clip(1 - moved[:, 2], 0.0, 1.0)
    use = (free > 1e-3) & np.isfinite(told) & np.isfinite(error)
    free = free[use]
    itself = np.log(USUAL) + (told[use] - np.log(USUAL)) / free
    variance = error[use] ** 2 / free
    weight = 1 / (variance + LOCAL**2) / patch
    usual = 1 / USUAL_ERROR**2
    total = float(weight.sum()) + usual
    mean = (float(weight @ itself) + usual * float(np.log(USUAL))) / total
    shift = (weight / free) @ moved[use, :2] / total
    return Pooled(mean, float(total**-0.5), shift)
