"""Two films from two directions: on which side a second canal lies, and how deep.

The rule (buccal object rule): of two things in the beam's path, the one farther from the receptor moves on the film
against the tube, and more. With the receptor on the lingual side, what moves the way the tube went, beside the other, lies lingually.

Equation. A focus at height F above the receptor moves by b; a point at height d shows moved by -b d / (F - d) (similar triangles).
Two points' movements, one of a known height, give the other's:

    d = F m / (m - b),  m the movement on the film (against the tube: m < 0 for b > 0)

Movements are taken relative to a thing of known height, for the receptor itself is not put back to the same place.
Left out: turning of the receptor between the two films, and a tube that also moved nearer.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from canalwright.imaging.errors import ScanError
from canalwright.imaging.radiograph.image import Z90, Array
from canalwright.quantities import Origin, Quantity, Source

Side = Literal["lingual", "buccal", "in one plane"]


@dataclass(frozen=True)
class Depth:
    """Where the second canal lies beside the first: its side, how sure that is, and how far away (buccally > 0), mm."""

    side: Side
    chance: float
    apart: Quantity


def movement(height: float, focus: float, tube: float) -> float:
    """Movement [mm] on the receptor of a point at `height` when a focus at `focus` mm moves by `tube` mm sideways."""
    if not 0 <= height < focus:
        raise ValueError(f"height {height} mm must lie between the receptor and the focus at {focus} mm")
    return -tube * height / (focus - height)


def height_from(movement: float, focus: float, tube: float) -> float:
    """Height [mm] above the receptor of a point that moved by `movement` mm; the inverse of `movement`."""
    if tube == 0:
        raise ValueError("the tube has not moved: two films from one direction show no depth")
    return focus * movement / (movement - tube)


def tube_shift(angle: float, focus: float, object_height: float) -> float:
    """Sideways movement [mm] of the focus for a change of the horizontal angle [degrees] about the object."""
    if not 0 < abs(angle) < 60:
        raise ValueError(f"change of angle {angle} degrees, allowed more than 0 and under 60")
    return float((focus - object_height) * np.tan(np.radians(angle)))


def depth(
    first: float, second: float, *, angle: float, focus: float = 300.0, height: float = 8.0, mark_error: float = 0.1,
    angle_error: float = 5.0, height_error: float = 4.0, draws: int = 4000, seed: int = 3,
) -> Depth:  # fmt: skip
    """Side and depth of a second canal from its distance to the first on two films.

    `first`, `second`: signed distance on each film [mm on the receptor] from the known canal to the other, counted positive
    in the direction in which the tube was moved for the second film. `angle`: change of the horizontal angle
    [degrees, more than 0]. `focus`, `height`: focus and known canal above the receptor [mm]. Errors are standard
    deviations. Receptor on the lingual side. Raises ScanError for an angle under 5 or over 45 degrees: too little
    to tell, or too much to tell which root is which.
    """
    if not 5 <= angle <= 45:
        raise ScanError(
            f"change of horizontal angle {angle} degrees, allowed 5 to 45: take the second film 20 degrees aside"
        )
    if not 0 <= height < focus or not np.isfinite([first, second]).all():
        raise ScanError(f"canal {height} mm above the receptor and focus {focus} mm: give both from the receptor")
    rng = np.random.default_rng(seed)

    def drawn(value: float, error: float, least: float = -np.inf) -> Array:
        values = value + np.append(0.0, rng.normal(0, error, draws))
        return np.asarray(np.maximum(values, least))

    turn, level = drawn(angle, angle_error, 1.0), drawn(height, height_error, 0.5)
    tube = (focus - level) * np.tan(np.radians(turn))
    known = -tube * level / (focus - level)
    moved = known + drawn(second - first, np.sqrt(2) * mark_error)
    # Where the noise makes a point move with the tube it lies on the receptor.
    moved = np.minimum(moved, 0.0)
    apart = focus * moved / (moved - tube) - level
    value = float(apart[0])
    low, high = (float(np.quantile(apart[1:], q)) for q in (0.05, 0.95))
    buccal = float(np.mean(apart[1:] > 0))
    side: Side = "in one plane" if low < 0 < high else ("buccal" if value > 0 else "lingual")
    source = Source(Origin.MEASURED, "two radiographs, parallax")
    found = Quantity(value, min(low, value), max(high, value), "mm", source)
    return Depth(side, max(buccal, 1 - buccal), found)


def spread_of_depth(mark_error: float, angle: float) -> float:
    """Half width [mm] of the 5-95 % interval of a depth from marks alone: z sqrt(2) error / tan(angle), far focus."""
    return float(Z90 * np.sqrt(2) * mark_error / np.tan(np.radians(angle)))
