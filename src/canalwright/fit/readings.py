"""What a gauging file and paper points tell of the canal's end."""

from collections.abc import Sequence

import numpy as np

from canalwright.instruments import iso3630
from canalwright.quantities import Reading, Shape, Source
from canalwright.quantities.provenance import Origin

POINT_ERROR = 0.5
"""Supposed reading error [mm] of the paper point method: its accuracy was not found in print (common practice)."""


def gauge_bounds(passes: int | None, stops: int | None) -> tuple[float, float]:
    """Least and greatest width [mm] at the end of the preparation, from file sizes that pass it and that stop at it.

    A file that passes says width >= its tip less its tolerance; one that stops says width <= its tip plus its
    tolerance. None leaves that side open (0 or inf). Raises ValueError where the file that stops is not the larger one,
    or a size is not in the ISO series.
    """
    least = iso3630.tip_diameter(passes) - iso3630.file_tolerance(passes) if passes is not None else 0.0
    greatest = iso3630.tip_diameter(stops) + iso3630.file_tolerance(stops) if stops is not None else np.inf
    if passes is not None and stops is not None and stops <= passes:
        raise ValueError(
            f"file {stops} stops at the end but file {passes} passes it: the one that stops must be larger; gauge again"
        )
    return least, greatest


def gauge_reading(passes: int | None, stops: int) -> Reading:
    """The apical width as a uniform reading between the two bounds.

    Without a file that passes, the size below the one that stops is supposed to pass.
    """
    supposed = passes is None
    if passes is None:
        place = iso3630.SIZES.index(iso3630.check_size(stops))
        passes = iso3630.SIZES[max(place - 1, 0)] if place else None
    least, greatest = gauge_bounds(passes, stops)
    source = Source(Origin.MEASURED, f"apical gauge: {stops} stops" + ("" if supposed else f", {passes} passes"))
    return Reading((least + greatest) / 2, (greatest - least) / 2, "mm", source, Shape.UNIFORM, least=0.0)


def end_from_points(dry_lengths: Sequence[float]) -> Reading:
    """Length [mm] from the reference point to the canal's end, from the dry lengths of paper points.

    The median dry length; its error the larger of `POINT_ERROR` / sqrt(n) and the scatter (1.4826 x median absolute
    deviation) / sqrt(n). Needs a dry canal and moist tissue beyond it. Raises ValueError without any length.
    """
    lengths = np.asarray(dry_lengths, dtype=float)
    if lengths.size == 0 or not (np.isfinite(lengths) & (lengths > 0)).all():
        raise ValueError(f"dry lengths must be one or more positive lengths in mm, not {list(dry_lengths)}")
    middle = float(np.median(lengths))
    scatter = 1.4826 * float(np.median(np.abs(lengths - middle)))
    error = max(POINT_ERROR, scatter) / np.sqrt(lengths.size)
    return Reading(middle, float(error), "mm", Source(Origin.MEASURED, f"dry length of {lengths.size} paper points"))
