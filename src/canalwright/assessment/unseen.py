"""Voids that an image cannot show: how many may be there, and the chance that there is none.

How many voids a filling has, and how large they are, is taken from published counts, not from the image: in 80 roots filled by lateral
and by thermoplastic compaction micro-CT found 7,840 voids (Jaworska & Kierklo 2017, J Stomatol 70:638-646, read in an abstract), about
8 to a millimetre of filling, and in thermoplastic fillings they take 0.25 % of the canal (0.11 % within and 0.14 % beside the filling,
PMC5588182, read in an abstract). A number that falls with a power of the diameter from 0.03 mm on, in a canal of 0.8 mm, joins the two.
The finest diameter found, the width, the length of 12 mm by which the counts are divided and the power law are our own assumptions.

Fillings differ: the number is that of the counts times m, which is exponential with a mean of 1 (our own assumption; published shares of
volume lie from 0.1 to 6 %), and learns from what the image shows: none seen where many would have been makes m smaller.
Whether a void is seen follows the room's own search: nine of ten at the smallest visible size, the signal growing with the diameter's
square (between the cube for voids finer than the blur and the power 1.5 for wide ones). Voids count as balls; flat gaps at the wall are
left out here and stay `not seen`.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr
from scipy.stats import gamma

from canalwright.quantities import Quantity

Array = NDArray[np.float64]
LEAST = 0.2
"""Diameter [mm] from which a void counts although the image missed it (our own reading of `no voids`: what a good film shows)."""
PER_MM, FINEST, WIDEST, POWER = 8.0, 0.03, 0.8, 2.91
SEEN, AT_SMALLEST = 5.0, 6.2816
"""Signal over noise from which a void is called seen, and that of a void of the smallest visible size (nine of ten)."""
_SIZES = np.geomspace(FINEST, WIDEST, 400)


def voids_wider(size: float | Array) -> Array:
    """Published number of voids to a millimetre of filling that are wider than `size` [mm]."""
    d = np.clip(np.asarray(size, float), FINEST, WIDEST)
    return np.asarray(PER_MM * ((FINEST / d) ** POWER - (FINEST / WIDEST) ** POWER))


def chance_seen(size: float | Array, smallest: float | Array) -> Array:
    """Chance that a void of diameter `size` is seen where the smallest visible one is `smallest` [mm]."""
    return np.asarray(ndtr(AT_SMALLEST * (np.asarray(size, float) / np.maximum(smallest, 1e-6)) ** 2 - SEEN))


def expected(smallest: float, length: float) -> tuple[float, float]:
    """Voids of `LEAST` or more that are missed, and voids of any size that are seen, in `length` mm of filling with m = 1."""
    number = -np.diff(voids_wider(_SIZES)) * max(length, 0.0)
    middle = np.sqrt(_SIZES[1:] * _SIZES[:-1])
    seen = chance_seen(middle, smallest)
    return float((number * (1 - seen))[middle >= LEAST].sum()), float((number * seen).sum())


def chance_of_none(smallest: Quantity, length: float, seen: int = 0) -> Quantity:
    """Chance (0 to 1) that no void of `LEAST` or more was missed, after `seen` voids were seen in `length` mm of filling.

    Its interval holds the doubt of m and that of the smallest visible void.
    """
    shape = 1.0 + seen

    def chance(size: float, quantile: float | None) -> float:
        missed, shown = expected(size, length)
        if quantile is None:
            return float((1.0 + missed / (1.0 + shown)) ** -shape)
        return float(np.exp(-missed * gamma.ppf(quantile, shape) / (1.0 + shown)))

    value = chance(smallest.value, None)
    low, high = chance(smallest.high, 0.95), chance(smallest.low, 0.05)
    return Quantity(value, min(low, value), max(high, value), "")
