"""A periapical film and what its geometry says: scale, tilt, projection.

Nouns. *Marks* are points on the picture, shape (n, 2), in pixels (x to the right, y down, 0 at the centre of the first
pixel). The *beam* is a point source above a flat receptor. All formulas are similar triangles:

    magnification      M = focus to receptor / focus to object
    proportion         true length = known length x (marked length / marked length of the known), both in one plane and tilt
    foreshortening     a short line tilted by t out of the receptor's plane shows M cos(t) of its length

Left out: bent films, focal spot size, receptors that are not flat.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canalwright.imaging.errors import ScanError
from canalwright.quantities import Origin, Quantity, Source

Array = NDArray[np.float64]
Z90 = 1.6448536269514722
MARK_ERROR = 1.5
"""Supposed spread of a marked point, pixels (one standard deviation; our own estimate, no source)."""
TILT_SPREAD = 5.0
"""Supposed spread of the tilt between instrument and canal, degrees (our own estimate, no source)."""


@dataclass(frozen=True)
class Film:
    """One radiograph: greys, shape (rows, columns), bright where much was absorbed; `spacing` mm per pixel at the receptor.

    `spacing` is None where the file does not say it or cannot be trusted to. `warnings` are the reader's doubts.
    """

    pixels: NDArray[np.float32] = field(repr=False)
    spacing: float | None = None
    warnings: tuple[str, ...] = ()
    path: str = ""

    @property
    def size(self) -> tuple[int, int]:
        """Rows and columns."""
        return int(self.pixels.shape[0]), int(self.pixels.shape[1])


@dataclass(frozen=True, slots=True)
class Scale:
    """mm in the object's plane per pixel: value and standard deviation; `how` says where it comes from."""

    value: float
    error: float
    how: str

    def length(self, marks: ArrayLike, mark_error: float = MARK_ERROR, bend: float = 0.0) -> Quantity:
        """Length [mm] of a line through marks (n, 2), with its 5-95 % interval.

        The error joins that of the scale, of the two end marks, and `bend` [mm], one standard deviation of anything else.
        """
        pixels = line_length(marks)
        value = self.value * pixels
        spread = float(np.sqrt((self.error * pixels) ** 2 + 2 * (self.value * mark_error) ** 2 + bend**2))
        source = Source(Origin.MEASURED, f"radiograph, {self.how}")
        return Quantity(value, value - Z90 * spread, value + Z90 * spread, "mm", source)


def line_length(marks: ArrayLike) -> float:
    """Length of a line through marks, shape (n, 2), in pixels. Raises ScanError for fewer than two points."""
    points = as_marks(marks, 2, "a length")
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def scale_from_known(
    marks: ArrayLike, known: float, known_error: float = 0.25, mark_error: float = MARK_ERROR, tilt: float = TILT_SPREAD
) -> Scale:
    """Scale from an instrument of `known` length [mm] in the picture, marked from tip to stop, shape (n, 2).

    `tilt`: spread [degrees] of the tilt between that instrument and what will be measured. A tilt t changes a length by
    cos(t), on average 1 - t^2 / 2; its part in the error is t^2 / sqrt(2). Raises ScanError for a length that cannot be.
    """
    pixels = line_length(marks)
    if not 1 <= known <= 60:
        raise ScanError(
            f"known length {known} mm, allowed 1 to 60 mm: give the length of the instrument from tip to stop"
        )
    if pixels < 20:
        raise ScanError(f"the known length spans {pixels:.0f} pixels, allowed 20 or more: mark a longer part of it")
    share = np.sqrt(
        (known_error / known) ** 2 + 2 * (mark_error / pixels) ** 2 + np.radians(tilt) ** 4 / 2
    )  # fmt: skip
    value = known / pixels
    return Scale(value, float(value * share), f"scaled by an instrument of {known:g} mm")


def scale_from_spacing(spacing: float, magnification: float = 1.05, spread: float = 0.04) -> Scale:
    """Scale from the receptor's own spacing [mm] and a supposed magnification (1.05, spread 0.04: our own estimate)."""
    if not 0.005 <= spacing <= 0.5:
        raise ScanError(f"pixel spacing {spacing} mm, allowed 0.005 to 0.5 mm: is it in micrometres?")
    return Scale(spacing / magnification, spacing * spread / magnification**2, "not corrected: magnification supposed")


def magnification(focus_to_receptor: float, object_to_receptor: float) -> float:
    """M = F / (F - d) for a plane d mm before the receptor; raises ValueError unless 0 <= d < F."""
    if not 0 <= object_to_receptor < focus_to_receptor:
        raise ValueError(f"object {object_to_receptor} mm before a receptor {focus_to_receptor} mm from the focus")
    return focus_to_receptor / (focus_to_receptor - object_to_receptor)


def tilt_from_known(known: float, shown: float, magnified: float = 1.0) -> float:
    """Tilt [degrees] out of the receptor's plane of a line `known` mm long that shows as `shown` mm.

    arccos(shown / (M known)), parallel beam or a short line; 0 where it shows longer than that (within error).
    """
    if known <= 0 or shown <= 0 or magnified <= 0:
        raise ValueError("lengths and magnification must be more than 0")
    return float(np.degrees(np.arccos(min(shown / (known * magnified), 1.0))))


def project(points: ArrayLike, focus: Sequence[float]) -> Array:
    """Where points (n, 3) [mm] show on the receptor z = 0, seen from a focus (x, y, z), shape (n, 2).

    Raises ValueError where a point is not between receptor and focus.
    """
    p, f = np.atleast_2d(np.asarray(points, dtype=float)), np.asarray(focus, dtype=float)
    if f[2] <= 0 or (p[:, 2] < 0).any() or (p[:, 2] >= f[2]).any():
        raise ValueError("every point must lie between the receptor (z = 0) and the focus")
    share = f[2] / (f[2] - p[:, 2])
    return np.asarray(f[:2] + (p[:, :2] - f[:2]) * share[:, None])


def as_marks(marks: ArrayLike, least: int, what: str) -> Array:
    """Marks as an array (n, 2); raises ScanError for too few, for a wrong shape or numbers that are not finite."""
    points = np.asarray(marks, dtype=float)
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < least or not np.isfinite(points).all():
        raise ScanError(f"{what} needs {least} or more points (x, y) on the picture, got shape {points.shape}")
    return points
