"""How a root's surface leans to the rays that find it, and what that does to a blurred edge.

The surface r(s, t) stands on a straight axis, s along it, t the angle about it. Where a ray meets it at the angle a to its
normal, everything across the surface is 1 / cos a longer along the ray: the spread and the ligament. And blurring by a
Gaussian of standard deviation S moves an edge towards its hollow side by S^2 H, H the mean curvature (half the sum of the two
principal ones; a level set under diffusion moves by it: Evans and Spruck 1991, J Differ Geom 33:635-681): a blurred root
looks thinner, most at its round end. Leaves out the bend of the axis.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
MOST_OBLIQUE = 0.5
"""Least cosine of the angle between ray and normal that is reckoned with: beyond, the surface is hardly one of the ray's."""
MOST_CURVED = 1.2
"""Greatest mean curvature that is reckoned with, 1/mm: that of a round end 0.8 mm in radius."""


MOST_POINTED = 2.5
"""The same of a slender root's very end, 1/mm: 0.4 mm in radius."""


@dataclass(frozen=True)
class Slant:
    """By station and direction (S, K): cosine of the angle between ray and normal, and mean curvature (1/mm, a convex
    surface's is positive).
    """

    cosine: Array
    curvature: Array

    def sunk(self, spread: float) -> Array:
        """How much nearer along the ray (S, K), mm, the blurred edge lies than the surface."""
        return np.asarray(spread**2 * self.curvature / self.cosine)


def meeting(ways: Array, slope: Array, bent: Array) -> Slant:
    """Slant of a surface z = h(x, y), root above and z away from it, to rays of unit directions `ways` (..., 3): where each meets it
    the `slope` (..., 2) of h and its second derivatives `bent` (..., 3): xx, xy, yy.
    """
    by_x, by_y = slope[..., 0], slope[..., 1]
    xx, xy, yy = bent[..., 0], bent[..., 1], bent[..., 2]
    length = np.sqrt(1 + by_x**2 + by_y**2)
    cosine = (ways[..., 2] - ways[..., 0] * by_x - ways[..., 1] * by_y) / length
    mean = -((1 + by_y**2) * xx - 2 * by_x * by_y * xy + (1 + by_x**2) * yy) / (2 * length**3)
    return Slant(np.maximum(cosine, MOST_OBLIQUE), np.clip(mean, -MOST_CURVED, MOST_POINTED))


def slant(radius: Array, step: float) -> Slant:
    """Slant of a surface r (S, K), stations `step` mm apart, directions evenly about the axis; S at least 3."""
    turn = 2 * np.pi / radius.shape[1]
    after, before = np.roll(radius, -1, axis=1), np.roll(radius, 1, axis=1)
    around, around2 = (after - before) / (2 * turn), (after - 2 * radius + before) / turn**2
    along = np.gradient(radius, step, axis=0)
    along2 = np.gradient(along, step, axis=0)
    mixed = np.gradient(around, step, axis=0)
    r = np.maximum(radius, 0.1)
    length = np.sqrt(r**2 + around**2 + (r * along) ** 2)
    e, f, g = around**2 + r**2, around * along, 1 + along**2
    low = (r * (around2 - r) - 2 * around**2) / length
    mid = (r * mixed - around * along) / length
    high = r * along2 / length
    mean = -(e * high - 2 * f * mid + g * low) / (2 * (e * g - f**2))
    return Slant(np.maximum(r / length, MOST_OBLIQUE), np.clip(mean, -MOST_CURVED, MOST_CURVED))
