"""The flat side of an oval canal in the (r, z) model.

A round canal of equal area has more gutta-percha between carrier and dentine than an oval one has on its flat side, where the wall is
thinnest and bone is nearest. Against three dimensions the greatest rise came out 7 to 31 per cent too low for widths of 1.5 to 3 to 1.
A round canal of the least width errs by 0 to 9 per cent towards heat, never the other way (docs/models/heat.md). So the axis is taken
from the canal of equal area, and the root surface from the canal of the least width. How thick the dentine is on the other
sides matters little: twice the wall opposite takes 1 to 3 per cent off.
"""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.lumen import Lumen
from canalwright.heat.batch import HeatDraws, simulate_many
from canalwright.heat.simulation import simulate
from canalwright.heat.story import HeatStory
from canalwright.protocol import Protocol

ROUND = 1.02
"""A canal no wider than this many times its least width is round."""


def least_width(lumen: Lumen) -> Lumen:
    """The round lumen of the least width, walls as they are; the same one where it is round already."""
    if np.all(lumen.major <= ROUND * lumen.minor) and np.all(lumen.area >= np.pi / 4 * lumen.minor**2 / ROUND):
        return lumen
    return replace(lumen, major=lumen.minor.copy(), area=np.pi / 4 * lumen.minor**2)


def simulate_flat_side(lumen: Lumen, protocol: Protocol, **options: Any) -> HeatStory:
    """As `simulate`, the root surface being that of the flat side: rise, place, dose and pictures of it, and the rise by act."""
    narrow = least_width(lumen)
    if narrow is lumen:
        return simulate(lumen, protocol, **options)
    with ThreadPoolExecutor(1, "flat side") as beside:  # the kernels let go of the interpreter: both at once
        aside = beside.submit(simulate, narrow, protocol, **options)
        story = simulate(lumen, protocol, **options)
        side = aside.result()
    acts = tuple(
        replace(a, surface_rise=b.surface_rise, surface_level=b.surface_level)
        for a, b in zip(story.acts, side.acts, strict=True)
    )
    at = np.interp(story.time, side.time, np.arange(len(side.time)))
    low = np.floor(at).astype(int)
    high, part = np.minimum(low + 1, len(side.time) - 1), (at - low)[:, None]
    surface = (1 - part) * side.surface[low] + part * side.surface[high]
    return replace(
        story, surface=surface, peak_rise=side.peak_rise, above_47=side.above_47, cem43=side.cem43, acts=acts
    )


def simulate_many_flat_side(
    lumen: Lumen, protocol: Protocol, draws: Mapping[str, NDArray[np.float64]], **options: Any
) -> HeatDraws:
    """As `simulate_many`, the root surface being that of the flat side."""
    many, narrow = simulate_many(lumen, protocol, draws, **options), least_width(lumen)
    if narrow is lumen:
        return many
    side = simulate_many(narrow, protocol, draws, **options)
    return replace(many, peak_rise=side.peak_rise, above_47=side.above_47, cem43=side.cem43, act_rise=side.act_rise)
