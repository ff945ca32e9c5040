"""Is there a canal at all, and how far is its trace to be trusted?

A way through noise always exists; a canal is believed only where the greys show it. Per half millimetre the missing
grey is fitted with the blurred tube's own shape: amplitude over its error is the signal of that station. It must stand
out over what a path drawn to the darkest noise would show (about 4, measured on rootless noise), dentine must stand
round it, and its widths and greys must be those of a canal.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.blurred_ellipse import blurred
from canalwright.imaging.found import Quality
from canalwright.imaging.profile_fit import Fit
from canalwright.imaging.refusal import refusal
from canalwright.imaging.tracing_path import Tones
from canalwright.imaging.tracing_result import Parts, width_error
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
SIGNAL = 6.0
WALLED = 0.75


@dataclass(frozen=True)
class Seen:
    """Voxels about the fitted tube (s, x, y from its centre, grey), and the share of directions with dentine round it
    (`walled`, by `stations`).
    """

    stations: Array
    s: Array
    x: Array
    y: Array
    grey: Array
    fit: Fit
    tones: Tones
    correlation: float
    walled: Array

    def signal(self) -> Array:
        """Amplitude of the tube's shape over its error, by station (half millimetre slabs)."""
        f = self.fit
        short, long, angle = f.half_widths(self.s)
        shape = blurred(self.x, self.y, long, short, angle, f.spread)[:, 0]
        ring = np.hypot(self.x, self.y) < long + 3 * f.spread
        slab = np.round((self.s - self.stations[0]) / 0.5).astype(int)
        good = ring & (slab >= 0) & (slab < len(self.stations))

        def total(values: Array) -> Array:
            return np.asarray(np.bincount(slab[good], values[good], minlength=len(self.stations)), dtype=float)

        count = np.maximum(total(np.ones_like(shape)), 1.0)
        mean = total(shape) / count
        power = np.maximum(total(shape**2) - count * mean**2, 1e-12)
        drop = -(total(shape * self.grey) - mean * total(self.grey)) / power
        return np.asarray(drop * np.sqrt(power / self.correlation) / self.tones.noise)


def visible(seen: Seen, scan: Scan) -> None:
    """Raise ScanError where what was followed is no canal."""
    where = scan.path or "scan in memory"
    signal = seen.signal()
    shown = float(np.mean(signal > SIGNAL))
    walled = float(np.mean(seen.walled > WALLED))
    if shown < 0.6:
        raise refusal(
            where,
            f"a canal shows in only {100 * shown:.0f} % of the way between the points",
            allowed="60 % or more",
            remedy="pick the points again inside the lumen, or take a finer scan: no canal is made up",
        )
    if walled < 0.6:
        raise refusal(
            where,
            f"dentine surrounds only {100 * walled:.0f} % of the way between the points",
            allowed="60 % or more",
            remedy="the way runs outside the root: pick the points again inside the lumen",
        )


def judge(seen: Seen, parts: Parts, scan: Scan) -> Quality:
    """Score 0 to 1 and the reasons that took it down."""
    score, reasons = 1.0, []

    def doubt(factor: float, reason: str) -> None:
        nonlocal score
        score *= factor
        reasons.append(reason)

    signal = seen.signal()
    faint = seen.stations[signal < SIGNAL]
    if len(faint):
        share = len(faint) / len(signal)
        doubt(
            1 - share,
            f"hardly seen over {100 * share:.0f} % of its length, near z {faint[0] - parts.first:.1f} mm first",
        )
    bare = float(np.mean(seen.walled < WALLED))
    if bare > 0.05:
        doubt(1 - 0.7 * bare, f"no dentine round it over {100 * bare:.0f} % of its length")
    s = np.arange(parts.first + 0.5, parts.last, 0.2)
    short, long, _ = parts.fit.half_widths(s)
    relative = width_error(parts, s) / (2 * short)
    if np.median(relative) > 0.2 or relative.max() > 0.5:
        doubt(0.7, f"widths uncertain by up to {100 * min(relative.max(), 9.99):.0f} %")
    if parts.fit.misfit > 1.6:
        doubt(
            max(0.3, 1.6 / parts.fit.misfit),
            f"greys differ {parts.fit.misfit:.1f} times the noise from a blurred oval tube",
        )
    metal = float(np.mean(seen.grey > seen.tones.dentine + 1.2 * seen.tones.contrast))
    if metal > 0.01:
        doubt(
            max(0.2, 1 - 5 * metal),
            f"metal: {100 * metal:.0f} % of the voxels about the canal are far brighter than dentine",
        )
    if parts.exit is None:
        doubt(0.8, "the place where it leaves the root was not found")
    if long.max() * 2 > 4.0:
        doubt(0.7, f"{long.max() * 2:.1f} mm wide at most: chamber or another canal may be included")
    if parts.voxel > 0.3:
        doubt(0.8, f"voxels of {parts.voxel:.2f} mm are coarse for a canal")
    return Quality(round(float(np.clip(score, 0, 1)), 2), tuple(reasons))
