"""Is there a canal at all, and how far is its trace to be trusted?

A way through noise always exists; a canal is believed only where the greys show it. Per half millimetre the missing
grey is fitted with the blurred tube's own shape: amplitude over its error is the signal of that station. It must stand
out over what a path drawn to the darkest noise would show (about 3, measured on rootless noise), dentine must stand
round it, and its widths and greys must be those of a canal.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation

from canalwright.imaging.found import NINETY, FoundCanal, Quality
from canalwright.imaging.refusal import refusal
from canalwright.imaging.tracing.blurred_ellipse import share
from canalwright.imaging.tracing.path import Tones
from canalwright.imaging.tracing.profile_fit import Fit, Samples, residual
from canalwright.imaging.tracing.result import Parts, length_error, width_error

Array = NDArray[np.float64]
SIGNAL = 4.5
WALLED = 0.75
TOP = 3
LEAST = 0.15
FAR_END = 0.7
"""How far from the point that was given a terminus may be found before it is doubted, mm: a click is good to about half."""
END, WITHIN = "its end was found", "its end is known to within"
LOST = "the place where it leaves the root was not found: the canal may go on"
ELSEWHERE = 0.7
"""What is left of the score where nobody pointed at the end, and two ways of looking for it differ by more than `FAR_END`."""
UNSURE_END, UNSURE = 0.2, 0.75
"""Half of the length's 90 % interval from which its end is doubted, mm (what a length is meant to be good to), and what is then left of
the score (our own choice)."""
UNLIKE = 1.8
"""Misfit of a slab, in noises, from which a section is thought to be no oval: single canals of real teeth stay under 1.4."""
SHARPEST = 1.2
"""Radius of the sharpest turn believed of a canal, mm: an abrupt published curve measures 2 mm."""

SWING = 1.5
"""How far along it a canal that leaves or joins another one may still be swinging out from it, mm."""

SHORT, SHORTENED = 6.0, 0.5
"""Length under which a canal is doubted, mm, and what is then left of the score (our own choice): from orifice to foramen hardly a canal
of a grown root is shorter than 8 mm."""

TURNED = 0.3
"""What a sharper one leaves of the score."""


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

    def misfits(self) -> Array:
        """Root mean square of grey less fitted tube over the noise, by half millimetre slab; NaN where few voxels lie."""
        f = self.fit
        _, long, _ = f.half_widths(self.s)
        u, v = self.x + f.value("cu", self.s), self.y + f.value("cv", self.s)
        off = np.clip(residual(f, Samples(self.s, u, v, self.grey)) / self.tones.noise, -15, 15)
        slab = np.round((self.s - self.stations[0]) / 0.5).astype(int)
        good = (np.hypot(self.x, self.y) < long + 2 * f.spread) & (slab >= 0) & (slab < len(self.stations))
        count = np.bincount(slab[good], minlength=len(self.stations))
        power = np.bincount(slab[good], off[good] ** 2, minlength=len(self.stations))
        return np.asarray(np.where(count > 5, np.sqrt(power / np.maximum(count, 1)), np.nan))

    def signal(self) -> Array:
        """Amplitude of the tube's shape over its error, by station (half millimetre slabs)."""
        f = self.fit
        short, long, angle = f.half_widths(self.s)
        shape = share(self.x, self.y, long, short, angle, f.spread)
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


def visible(seen: Seen, where: str) -> None:
    """Raise ScanError where what was followed is no canal."""
    signal = seen.signal()
    shown = float(np.mean(signal > SIGNAL))
    walled = float(np.mean(seen.walled > WALLED))
    if np.median(signal[-TOP:]) < SIGNAL or np.median(seen.walled[-TOP:]) < WALLED:
        raise refusal(
            where, "the orifice point is not in a lumen with dentine round it", remedy="pick it again inside the canal"
        )
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


def judge(seen: Seen, parts: Parts, canal: FoundCanal, where: str) -> Quality:
    """Score 0 to 1 and the reasons that took it down. Raises ScanError below `LEAST`: that is no canal."""
    marks = [*_by_signal(seen, parts), *_by_fit(seen, parts), *_by_shape(parts, canal)]
    score = float(np.prod([factor for factor, _ in marks])) if marks else 1.0
    if score < LEAST:
        said = ", ".join(reason for _, reason in marks)
        raise refusal(where, f"what was followed is no canal ({said})", remedy="pick the points again in this scan")
    doubts = _by_doubt(seen, parts)
    score *= float(np.prod([factor for factor, _ in doubts])) if doubts else 1.0
    return Quality(round(min(1.0, score), 2), tuple(reason for _, reason in (*marks, *doubts)))


def _by_signal(seen: Seen, parts: Parts) -> list[tuple[float, str]]:
    marks = []
    signal = seen.signal()
    faint = seen.stations[signal < SIGNAL]
    if len(faint):
        much, first = len(faint) / len(signal), faint[0] - parts.first
        marks.append((1 - much, f"hardly seen over {100 * much:.0f} % of its length, first near z {first:.1f} mm"))
    bare = float(np.mean(seen.walled < WALLED))
    if bare > 0.05:
        marks.append((1 - 0.7 * bare, f"no dentine round it over {100 * bare:.0f} % of its length"))
    return marks


def _by_fit(seen: Seen, parts: Parts) -> list[tuple[float, str]]:
    marks = []
    s = np.arange(parts.first + 0.5, parts.last, 0.2)
    short, _, _ = parts.fit.half_widths(s)
    relative = width_error(parts, s) / (2 * short)
    if np.median(relative) > 0.2 or relative.max() > 0.5:
        marks.append((0.7, f"widths uncertain by up to {100 * min(relative.max(), 9.99):.0f} %"))
    misfit = parts.fit.misfit
    if misfit > 1.8:
        marks.append((max(0.2, 1.8 / misfit), f"greys differ {misfit:.1f} times the noise from a blurred oval tube"))
    bright = seen.tones.dentine + 1.2 * seen.tones.contrast
    metal = float(np.mean(seen.grey > bright))
    if metal > 0.01:
        marks.append((max(0.2, 1 - 5 * metal), f"metal: {100 * metal:.0f} % of the voxels about it far exceed dentine"))
    if parts.exit is None and not parts.pinned:
        marks.append((0.6, LOST))
    if parts.voxel > 0.31:
        marks.append((0.8, f"voxels of {parts.voxel:.2f} mm are coarse for a canal"))
    return marks


def _by_doubt(seen: Seen, parts: Parts) -> list[tuple[float, str]]:
    """What makes a canal doubtful that is one beyond doubt: where it ends, and what else its widths may hold."""
    marks = []
    # what lies beyond the root shows in the first slabs, the chamber in the last
    inner = slice(2, -2)
    unlike = seen.stations[inner][seen.misfits()[inner] > UNLIKE] - parts.first
    if len(unlike):
        low, high = f"{unlike[0] - 0.25:.1f}", f"{unlike[-1] + 0.25:.1f}"
        marks.append(
            (0.7, f"no oval tube near z {low} to {high} mm: another canal or an isthmus may be included there")
        )
    if parts.exit is not None and not parts.pinned and abs(parts.exit.s - parts.given) > FAR_END:
        said = f"{END} {abs(parts.exit.s - parts.given):.1f} mm from"
        marks.append(
            (ELSEWHERE, f"{said} where its way through the pulp led: look at it there")
            if parts.guessed
            else (0.55, f"{said} the point that was given: does it leave the root there?")
        )
    within = NINETY * length_error(parts)
    if parts.exit is not None and not parts.pinned and within > UNSURE_END:
        marks.append((UNSURE, f"{WITHIN} {within:.2f} mm only"))
    return marks


def but_for_its_end(quality: Quality) -> float:
    """The score without what an unsure end takes from it."""
    return quality.score / UNSURE if any(reason.startswith(WITHIN) for reason in quality.reasons) else quality.score


def led_elsewhere(quality: Quality, away: float) -> Quality:
    """What is thought of a canal whose end was looked for anew, and was found `away` mm from where its way through the pulp led."""
    rest = tuple(reason for reason in quality.reasons if not reason.startswith(END))
    score = quality.score if rest == quality.reasons else quality.score / ELSEWHERE
    if away <= FAR_END:
        return Quality(round(min(score, 1.0), 2), rest)
    said = f"{END} {away:.1f} mm from where its way through the pulp led: look at it there"
    return Quality(round(min(score, 1.0) * ELSEWHERE, 2), (*rest, said))


def less_sure(canal: FoundCanal, apart: float) -> FoundCanal:
    """The canal as it is thought of where another look at it found its end `apart` mm higher or lower, or might have."""
    error = float(np.hypot(canal.length_error, apart))
    score, rest = but_for_its_end(canal.quality), tuple(r for r in canal.quality.reasons if not r.startswith(WITHIN))
    if NINETY * error > UNSURE_END and LOST not in rest:
        score, rest = score * UNSURE, (*rest, f"{WITHIN} {NINETY * error:.2f} mm only")
    return replace(canal, length_error=error, quality=Quality(round(min(score, 1.0), 2), rest))


def doubted_as(again: Quality, before: Quality) -> Quality:
    """What is thought of a canal that was measured again from where its end was found: the doubt of that end stays."""
    said = tuple(reason for reason in before.reasons if reason.startswith(END))
    if not said or any(reason.startswith(END) for reason in again.reasons):
        return again
    return Quality(round(again.score * ELSEWHERE, 2), (*again.reasons, *said))


def _by_shape(parts: Parts, canal: FoundCanal) -> list[tuple[float, str]]:
    marks = []
    lumen = canal.lumen
    if canal.length < SHORT:
        marks.append(
            (SHORTENED, f"only {canal.length:.1f} mm long: does it begin at its orifice and end at its foramen?")
        )
    if lumen.major.max() > 4.5:
        marks.append((0.6, f"{lumen.major.max():.1f} mm wide at most: chamber or another canal may be included"))
    third = lumen.size // 3
    if lumen.minor[:third].mean() > 1.3 * lumen.minor[-third:].mean():
        # a click finds the crown by itself: there the ends are not swapped, but the lowest widths may hold the outside
        said = "the last millimetres may be measured too wide" if parts.guessed else "are the two points swapped?"
        marks.append((0.4, f"wider at its terminus than at its orifice: {said}"))
    meets = None
    if parts.apart is not None:
        swings = round(SWING / max(float(np.mean(np.diff(lumen.z))), 1e-9))
        meets = binary_dilation(parts.apart.meets(lumen.centre), iterations=max(swings, 1))
    radius, at = sharpest_turn(canal, meets)
    if radius < SHARPEST:
        marks.append((TURNED, f"turns with a radius of {radius:.1f} mm near z {at:.1f} mm: does it leave the canal?"))
    return marks


def sharpest_turn(canal: FoundCanal, but: NDArray[np.bool_] | None = None) -> tuple[float, float]:
    """Radius of the sharpest turn of the centreline and its station, mm; stations `but` (n,), where canals meet, left out."""
    z = canal.lumen.z
    tangent = np.gradient(canal.lumen.centre, z, axis=0)
    bend = np.linalg.norm(np.gradient(tangent, z, axis=0), axis=1)[3:-3]
    if but is not None:
        bend = np.where(but[3:-3], 0.0, bend)
    return float(1 / max(bend.max(), 1e-9)), float(z[3 + int(np.argmax(bend))])
