"""Gas trapped at the end of the canal (vapour lock): how likely a bubble is, and what takes it out.

Published: in 48 % of the cases of one study, less with a wider end, an open needle, a tip nearer to the end and more flow
(Boutsioukis et al. 2014, Int Endod J 47:191-201). The logistic curve through that share is ours: logit = logit(0.48) - 5 (width - 0.35)
- 0.5 (+ for side, - for open) + 0.5 (distance - 2) - 0.7 ln(rate / 100); so are its interval, 0.8 either way on the
logit times 1.645, and that the mean of the study lies at 0.35 mm, 2 mm and 100 mm3/s. It gives an order, not a frequency.
"""

import numpy as np

from canalwright.irrigation.figures import figure, source
from canalwright.quantities import Quantity

REMEDY = "take the needle to working length for a moment while irrigating gently, or pump a fitted cone to length, then irrigate again"
"""What to do about gas before the end."""


def gas_chance(width: float, opening: str, short: float, rate: float) -> Quantity:
    """Chance of a bubble at an end `width` mm wide, with the tip `short` mm from it, at `rate` mm3/s."""
    if min(width, rate) <= 0 or short < 0:
        raise ValueError("width and rate must be more than 0, the distance 0 or more")
    share = figure("gas", "share").value
    logit = np.log(share / (1 - share)) - 5 * (width - 0.35) + 0.5 * (short - 2) - 0.7 * np.log(rate / 100)
    logit += 0.5 if opening == "side" else -0.5
    half = 1.645 * figure("gas", "logit_error").value
    low, value, high = (float(1 / (1 + np.exp(-(logit + shift)))) for shift in (-half, 0.0, half))
    return Quantity(value, low, high, "", source("boutsioukis2014"), 1.0, "curve through one study")
