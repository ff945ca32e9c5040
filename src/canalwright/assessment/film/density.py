"""Voids in a filling on a radiograph, and the smallest one that this radiograph would show.

What the filling lacks is the picture less its shadow without voids (`profile.steady`). A ball of nothing of diameter d lacks
c 2 sqrt(d^2/4 - r^2) at a distance r, c being the grey of 1 mm of filling: peak / thickness, the thickness taken as the width
(a round filling; `OVAL` says how wrong that may be). Matched filters for balls of several diameters, divided by their own scatter
over the filling (median absolute deviation), give signal over noise; above `SEEN` a void is called seen. The same scatter says
what the smallest visible void is: `SEEN` plus 1.28, so that nine of ten of that size are seen.

Left out: voids that the filling's thickness hides by saturation of the receptor, and a ligament or a second root in front of it.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, label, maximum_filter
from scipy.signal import fftconvolve
from scipy.special import ndtr

from canalwright.assessment.film.profile import BLUR, Profile
from canalwright.assessment.film.straight import Straight
from canalwright.assessment.result import Void
from canalwright.quantities import Quantity

Array = NDArray[np.float64]
SIZES = (0.12, 0.17, 0.24, 0.34, 0.48, 0.68)
SEEN, POWER = 5.0, 1.2816
OVAL = 0.35
"""Spread (natural logarithm, one standard deviation) of the filling's thickness along the beam over its width: canals are oval."""
EDGE = 0.25


@dataclass(frozen=True)
class Density:
    """`voids` seen, apical first; `chances` that each is one; `smallest` visible diameter; `share` of the shadow that is lacking;
    `volume` (n,) of a round filling by row of the straight picture, mm3 for a mm.
    """

    voids: tuple[Void, ...]
    chances: tuple[float, ...]
    smallest: Quantity
    share: Quantity
    volume: Array = field(repr=False)


def density(straight: Straight, steady: Profile, top: float, end: float, terminus: float) -> Density:
    """Look for voids between the arc lengths `top` and `end` of a filling."""
    mm, u = straight.mm, straight.u
    shadow = steady.shadow(u)
    rest = np.nan_to_num(straight.grey - steady.dentine(u)) - shadow
    inside = (straight.s >= top + EDGE) & (straight.s <= end - EDGE) & steady.there
    core = (np.abs(u[None, :] - steady.centre[:, None]) < 0.5 * steady.width[:, None] - BLUR) & inside[:, None]
    grey_of_mm = np.where(steady.there, steady.peak / np.maximum(steady.width, 0.1), np.nan)
    if core.sum() < 50:
        nothing = Quantity(0.0, 0.0, 1.0, "")
        wide = Quantity(SIZES[-1], SIZES[0], 2.0, "mm")
        return Density((), (), wide, nothing, np.zeros(len(straight.s)))
    contrast = float(np.nanmedian(grey_of_mm[inside]))
    rest = rest - _slow(rest, core, 0.8 / mm)
    best = np.full(rest.shape, -np.inf)
    size_at = np.zeros(rest.shape)
    threshold: list[float] = []
    for d in SIZES:
        kernel = _ball(d, mm)
        answer = fftconvolve(np.where(core, -rest, 0.0), kernel, mode="same")
        reach = fftconvolve(core.astype(float), kernel**2, mode="same") / float((kernel**2).sum())
        fair = core & (reach > 0.5)
        if fair.sum() < 30:
            threshold.append(np.inf)
            continue
        answer = answer / np.sqrt(np.maximum(reach, 0.3))
        spread = 1.4826 * float(np.median(np.abs(answer[fair] - np.median(answer[fair])))) + 1e-9
        score = np.where(fair, (answer - np.median(answer[fair])) / spread, -np.inf)
        better = score > best
        best[better], size_at[better] = score[better], d
        threshold.append(contrast * float((kernel**2).sum()) / spread)
    smallest = _smallest(np.array(threshold))
    voids = _voids(best, rest, straight, steady, contrast, terminus)
    volume = np.where(steady.there, np.pi / 4 * steady.width**2, 0.0)
    total = float(volume[inside].sum()) * mm
    lost = sum(v.volume.value for v in voids)
    noise = steady.noise * np.sqrt(float(core.sum())) * mm * mm / contrast
    share, hidden = lost / max(total, 1e-9), SEEN * noise / max(total, 1e-9)
    return Density(
        voids,
        tuple(float(ndtr(v.signal - SEEN + 1.0)) for v in voids),
        smallest,
        Quantity(share, 0.6 * share, 1.6 * share + hidden, ""),
        volume,
    )


def _voids(
    best: Array, rest: Array, straight: Straight, steady: Profile, contrast: float, terminus: float
) -> tuple[Void, ...]:
    mm = straight.mm
    size = max(int(0.3 / mm) | 1, 3)
    tops = np.argwhere((best >= SEEN) & (best == maximum_filter(best, size)))
    peaks = sorted(((int(a), int(b)) for a, b in tops), key=lambda p: -float(best[p]))
    taken: list[tuple[float, float, float]] = []
    found: list[Void] = []
    for row, column in peaks[:60]:
        s, across = float(straight.s[row]), float(straight.u[column])
        if any(np.hypot(s - a, across - b) < 0.6 * c + 0.1 for a, b, c in taken):
            continue
        volume = _volume(rest, row, column, straight, steady, contrast)
        if volume <= 0:
            continue
        d = float((6 * volume / np.pi) ** (1 / 3))
        taken.append((s, across, d))
        spread = float(np.hypot(OVAL, 1.0 / float(best[row, column])))
        wide = (np.exp(-1.645 * spread), np.exp(1.645 * spread))
        found.append(
            Void(
                terminus - s,
                across - float(steady.centre[row]),
                Quantity(d, d * wide[0] ** (1 / 3), d * wide[1] ** (1 / 3), "mm"),
                Quantity(volume, volume * wide[0], volume * wide[1], "mm3"),
                float(best[row, column]),
            )
        )
    return tuple(sorted(found, key=lambda v: v.z))


def _volume(rest: Array, row: int, column: int, straight: Straight, steady: Profile, contrast: float) -> float:
    """What is lacking within the blob about a place, as mm3 of filling."""
    mm = straight.mm
    smooth = gaussian_filter(-rest, 0.04 / mm)
    height = smooth[row, column]
    room = int(0.6 / mm)
    rows = slice(max(row - room, 0), row + room + 1)
    columns = slice(max(column - room, 0), column + room + 1)
    marked, _ = label(smooth[rows, columns] > 0.2 * height)
    own = marked[min(row, room), min(column, room)]
    return float((-rest[rows, columns])[marked == own].sum() * mm * mm / max(contrast, 1e-9)) if own else 0.0


def _smallest(signal: Array) -> Quantity:
    """Diameter that reaches SEEN + POWER, between the sizes tried, with the doubt of the thickness."""
    wanted = SEEN + POWER
    finite = np.isfinite(signal)
    sizes, got = np.array(SIZES)[finite], np.maximum.accumulate(signal[finite]) if finite.any() else np.array([])
    if len(got) == 0:
        return Quantity(SIZES[-1], SIZES[0], 2.0, "mm")

    def at(level: float) -> float:
        if got[-1] < level:
            return float(sizes[-1] * (level / got[-1]) ** 0.5)
        if got[0] >= level:
            return float(sizes[0] * (level / got[0]) ** 0.5)
        return float(np.interp(np.log(level), np.log(got), sizes))

    low, high = at(wanted * np.exp(-1.645 * OVAL)), at(wanted * np.exp(1.645 * OVAL))
    middle = at(wanted)
    return Quantity(middle, min(low, middle), max(high, middle), "mm")


def _ball(d: float, mm: float) -> Array:
    """Paths through a ball of diameter d, blurred as the filling is, mm."""
    half = int(np.ceil((d / 2 + 3 * BLUR) / mm))
    y, x = np.mgrid[-half : half + 1, -half : half + 1] * mm
    path = 2 * np.sqrt(np.maximum(d * d / 4 - x * x - y * y, 0.0))
    return np.asarray(gaussian_filter(path, BLUR / mm))


def _slow(rest: Array, core: NDArray[np.bool_], size: float) -> Array:
    """What changes slowly within the filling and is no void."""
    weight = gaussian_filter(core.astype(float), size)
    clipped = np.clip(rest, *np.quantile(rest[core], (0.1, 0.9)))
    return np.asarray(gaussian_filter(np.where(core, clipped, 0.0), size) / np.maximum(weight, 1e-3))
