"""A film made ready to be looked at: greys of 16 bits, no larger than a screen needs, with the window it is first shown in."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.radiograph.image import Film

MOST = 6_000_000
LOW, HIGH = 0.5, 99.5
"""Percentiles of the greys between which a film is shown at first."""


@dataclass(frozen=True)
class Shown:
    """Greys (rows, columns) from 0 to 65535, every `step` pixels of the film averaged into one; `low` and `high` of the first window."""

    greys: NDArray[np.uint16]
    step: int
    low: int
    high: int


def shown(film: Film, most: int = MOST) -> Shown:
    """The film to be looked at, with at most `most` pixels. A film of one grey is shown black."""
    pixels = film.pixels
    step = 1
    while (pixels.shape[0] // step) * (pixels.shape[1] // step) > most:
        step += 1
    if step > 1:
        rows, columns = (n // step * step for n in pixels.shape)
        cut = pixels[:rows, :columns].reshape(rows // step, step, columns // step, step)
        pixels = np.asarray(cut.mean(axis=(1, 3)), dtype=np.float32)
    least, span = float(pixels.min()), float(np.ptp(pixels))
    greys = np.round((pixels - least) * (65535 / span) if span > 0 else np.zeros_like(pixels)).astype(np.uint16)
    low, high = (int(v) for v in np.percentile(greys, (LOW, HIGH)))
    return Shown(greys, step, low, max(high, low + 1))
