"""What a gauging file tells of the canal's end; paper points are read in the room `readiness`."""

import numpy as np

from canalwright.instruments import iso3630
from canalwright.quantities import Reading, Shape, Source
from canalwright.quantities.provenance import Origin


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
