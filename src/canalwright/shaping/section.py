"""One section: an oval lumen and the round envelope of a file about the same centre.

Ellipse with semi-axes a >= b, circle of radius c. They cross where the ellipse's polar radius is c:

    sin^2(t) = (1/c^2 - 1/a^2) / (1/b^2 - 1/a^2),   t counted from the greatest width.

Within t of the greatest width the ellipse lies outside the circle (the fin that the file misses);
beyond t the circle lies outside. Both areas are sectors in closed form; the missed perimeter is an
incomplete elliptic integral of the second kind (Abramowitz & Stegun 1964, 17.2.9).
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ellipe, ellipeinc

Array = NDArray[np.float64]


def union_area(minor: ArrayLike, major: ArrayLike, circle: ArrayLike) -> Array:
    """Area [mm2] of the union of an ellipse of widths `minor`, `major` and a circle of diameter `circle`.

    Any shapes that broadcast; exact.
    """
    a, b, c = _radii(minor, major, circle)
    t = _crossing(a, b, c)
    fin = 0.5 * a * b * np.arctan2(a * np.sin(t), b * np.cos(t))
    return np.asarray(4 * (fin + 0.5 * c * c * (np.pi / 2 - t)))


def untouched_share(minor: ArrayLike, major: ArrayLike, circle: ArrayLike) -> Array:
    """Share (0 to 1) of the ellipse's perimeter that the circle does not reach.

    1 where the circle lies within the ellipse, 0 where it holds all of it.
    """
    a, b, c = _radii(minor, major, circle)
    t = _crossing(a, b, c)
    modulus = 1 - (b / a) ** 2
    # From the greatest width, x = a cos(p), y = b sin(p): the arc to p is a (E(m) - E(pi/2 - p, m)).
    parameter = np.arctan2(a * np.sin(t), b * np.cos(t))
    return np.asarray(np.clip(1 - ellipeinc(np.pi / 2 - parameter, modulus) / ellipe(modulus), 0.0, 1.0))


def _radii(minor: ArrayLike, major: ArrayLike, circle: ArrayLike) -> tuple[Array, Array, Array]:
    b, a, c = (np.asarray(v, dtype=float) / 2 for v in (minor, major, circle))
    return np.maximum(a, b), b, c


def _crossing(a: Array, b: Array, c: Array) -> Array:
    """Angle from the greatest width to where the two outlines cross: pi/2 (circle inside) to 0 (ellipse inside)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        s = (1 / c**2 - 1 / a**2) / (1 / b**2 - 1 / a**2)
    s = np.where(c <= b, 1.0, np.where(c >= a, 0.0, s))
    return np.asarray(np.arcsin(np.sqrt(np.clip(s, 0.0, 1.0))))
