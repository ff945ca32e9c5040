"""How dose grows with heat in one story: seconds above 47 deg C and CEM43 of the worst point, were all rises larger or smaller.

Heat conduction is linear but for melting, so another carrier or a better conductor changes the size of the rises more than their shape in
time. `DoseCurve` scales the histories of the points of the root surface that got hottest, exactly integrated; what the shape
adds is left to the residuals of `doubt`.
"""

from dataclasses import dataclass

import numpy as np

from canalwright.heat.injury import cem43, seconds_above
from canalwright.heat.solid.space import Array
from canalwright.heat.solid.story import SolidStory

POINTS = 60
"""Points of the surface that are followed: the hottest ones."""
SCALES = np.concatenate([[0.0], np.geomspace(0.05, 20.0, 72)])


@dataclass(frozen=True)
class DoseCurve:
    """Dose `seconds` above 47 deg C and `minutes` (CEM43) of the worst point by `scale` of all rises, each of shape (k,), growing."""

    scale: Array
    seconds: Array
    minutes: Array

    @classmethod
    def of(cls, story: SolidStory) -> "DoseCurve":
        """From a story that kept its film (ValueError without)."""
        if story.surface_film.shape[1] == 0:
            raise ValueError("the story kept no film: simulate it with film=True")
        worst = np.argsort(story.surface.peak_rise)[-POINTS:]
        t = story.surface_film[:, worst].astype(float)
        rise = t - t[0]
        found = np.array(
            [(f(t[0] + s * rise, story.time).max()) for f in (seconds_above, cem43) for s in SCALES]
        ).reshape(2, -1)  # fmt: skip
        found = np.maximum.accumulate(found, axis=1)
        return cls(SCALES, found[0], found[1])

    def above(self, scale: Array) -> Array:
        """Seconds above 47 deg C at each scale."""
        return np.asarray(np.interp(scale, self.scale, self.seconds))

    def dose(self, scale: Array) -> Array:
        """CEM43, min, at each scale: the logarithm is interpolated where there is a dose."""
        return _grown(scale, self.scale, self.minutes)

    def scale_of(self, seconds: Array | None = None, minutes: Array | None = None) -> Array:
        """The scale at which the story would have had that dose; NaN where it is none."""
        given, values = (seconds, self.seconds) if minutes is None else (minutes, self.minutes)
        some = (values > 0) & (self.scale > 0)
        wanted = np.asarray(given, float)
        if some.sum() < 2:
            return np.full(wanted.shape, np.nan)
        x, y = np.log(values[some]), np.log(self.scale[some])
        keep = np.concatenate([[True], np.diff(x) > 1e-9])
        return np.where(wanted > 0, np.exp(np.interp(np.log(np.maximum(wanted, 1e-300)), x[keep], y[keep])), np.nan)


def _grown(at: Array, scale: Array, values: Array) -> Array:
    some = values > 0
    if some.sum() < 2:
        return np.zeros(np.shape(at))
    inside = np.exp(np.interp(at, scale[some], np.log(values[some])))
    return np.asarray(np.where(np.asarray(at) >= scale[some][0], inside, 0.0))
