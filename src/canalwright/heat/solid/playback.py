"""A story as arrays to play: two sections on even pixels, the unrolled root surface, and the injury fields on it.

The section in the plane of the curve and the one across it are read at the nearest cell, apex down; the surface is unrolled into bands of
level (from the terminus up) and sectors of direction, as in the film of `animate`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.heat.solid.animate import BAND, SECTORS, edges, levels, middle, near, unrolled
from canalwright.heat.solid.pictures import sections
from canalwright.heat.solid.space import Array
from canalwright.heat.solid.story import SolidStory

PIXEL = 0.15
"""Pixel of the sections, mm."""


@dataclass(frozen=True)
class Playback:
    """`time` (t,), `act` (t,); `sections`: two of shape (t, rows, columns) deg C, first row on top, with `lines` (rows, columns) where
    tissues meet; `surface` (t, bands, sectors) deg C, first band at the terminus; `rise` K, `above_47` s, `cem43` min: greatest in each
    (bands, sectors), gaps filled from beside. `band` mm, `pixel` mm."""

    time: Array
    act: NDArray[np.int64]
    sections: tuple[Array, Array]
    lines: tuple[NDArray[np.bool_], NDArray[np.bool_]]
    surface: Array
    rise: Array
    above_47: Array
    cem43: Array
    band: float = BAND
    pixel: float = PIXEL

    @classmethod
    def of(cls, story: SolidStory, every: float = 1.0) -> "Playback":
        """From a story with film, one picture each `every` s, the first and the last always; ValueError without film."""
        if story.film.shape[1] == 0:
            raise ValueError("the story kept no film: simulate it with film=True")
        keep = _thinned(story.time, every)
        solid = story.solid
        x, y, z = solid.space.centres()
        up = np.arange(z[1], z[-2], PIXEL)[::-1]
        j, columns = near(z, up), [near(c, middle(c, PIXEL)) for c in (x, y)]
        films = [f[:, j][:, :, i] for f, i in zip(sections(solid, story.film[keep]), columns, strict=True)]
        marks = [edges(m[np.ix_(j, i)]) for m, i in zip(sections(solid, levels(solid)), columns, strict=True)]
        border, surface = unrolled(story)
        s = story.surface
        rise, above, dose = (_whole(s.by_sector(border, v, SECTORS)) for v in (s.peak_rise, s.above_47, s.cem43))
        return cls(
            story.time[keep],
            story.act[keep],
            (films[0], films[1]),
            (marks[0], marks[1]),
            surface[keep],
            rise,
            above,
            dose,
        )


def _thinned(time: Array, every: float) -> NDArray[np.int64]:
    kept, last = [0], float(time[0])
    for i in range(1, len(time)):
        if time[i] - last >= every or i == len(time) - 1:
            kept.append(i)
            last = float(time[i])
    return np.asarray(kept)


def _whole(values: Array) -> Array:
    """Bands without a point in a sector take the greatest of their ring; bands without any the one below."""
    ring = np.nanmax(np.where(np.isnan(values), -np.inf, values), axis=1)
    for i in range(len(ring)):
        if not np.isfinite(ring[i]):
            ring[i] = ring[i - 1] if i else 0.0
    return np.where(np.isnan(values), ring[:, None], values)
