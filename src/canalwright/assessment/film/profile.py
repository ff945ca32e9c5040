"""The filling across the canal, station by station: where it lies, how wide it is, how much it absorbs.

Across the canal the grey is  a + b u + p sqrt(1 - (2 (u - c) / W)^2), blurred: the shadow of a filling with an elliptical section, W
wide, in dentine that changes evenly. Fitted by least squares to averages over `WINDOW` mm.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from canalwright.assessment.film.marks import FilmError
from canalwright.assessment.film.straight import Straight

Array = NDArray[np.float64]
WINDOW = 0.3
BLUR = 0.06
"""Supposed blur of receptor and focal spot, standard deviation in mm (our own estimate)."""
GAP, WIDENS = 1.0, 1.3
"""Longest gap [mm] within one filling; how much wider it may grow apically within 1.5 mm."""
ROUNDS = 12


@dataclass(frozen=True)
class Profile:
    """By rows of the straight picture, each (n,): `peak` grey over dentine, `centre` and `width` mm with their standard deviations,
    `level` and `slope` of the dentine (grey, grey per mm), `noise` of one pixel. NaN where no filling is seen.
    """

    peak: Array
    centre: Array
    width: Array
    width_error: Array
    level: Array
    slope: Array
    noise: float
    there: NDArray[np.bool_] = field(repr=False)

    def shadow(self, u: Array) -> Array:
        """The filling's shadow without its dentine, (n, m); 0 where there is none."""
        made = shape(u[None, :], self.centre[:, None], self.width[:, None]) * self.peak[:, None]
        return np.nan_to_num(made)

    def dentine(self, u: Array) -> Array:
        """Grey of the dentine behind, (n, m)."""
        return np.asarray(self.level[:, None] + self.slope[:, None] * u[None, :])


def shape(u: Array, centre: Array, width: Array, blur: float = BLUR) -> Array:
    """Half an ellipse of height 1 and width `width`, blurred (five-point Gauss-Hermite rule)."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(9)
    total = np.zeros(np.broadcast_shapes(np.shape(u), np.shape(centre)))
    for node, weight in zip(nodes, weights / weights.sum(), strict=True):
        q = 1 - (2 * (u + node * blur - centre) / np.maximum(width, 1e-3)) ** 2
        total += weight * np.sqrt(np.maximum(q, 0.0))
    return total


def profile(straight: Straight, start: float = 0.6) -> Profile:
    """Measure the filling across. Raises FilmError where no filling is seen along the line."""
    grey, u, mm = straight.grey, straight.u, straight.mm
    rows = len(grey)
    size = max(round(WINDOW / mm) | 1, 3)
    valid = np.isfinite(grey)
    smooth = gaussian_filter1d(np.where(valid, grey, np.nanmedian(grey)), size / 2.5, axis=0)
    inner = np.abs(u) < 1.5
    noise = _noise(grey[:, inner])
    found = np.full((6, rows), np.nan)
    guess = np.array([0.0, start])
    every = max(size // 3, 1)
    for row in range(0, rows, every):
        told = _fit(smooth[row], u, guess) if valid[row].mean() > 0.8 else None
        if told is None:
            continue
        found[:, row] = told
        if told[0] > 6 * noise and 0.1 < told[2] < 2.5 and abs(told[1]) < 0.8:
            guess = np.array([0.7 * guess[0] + 0.3 * told[1], 0.7 * guess[1] + 0.3 * told[2]])
    at = np.flatnonzero(np.isfinite(found[0]))
    if len(at) < 4:
        raise FilmError(
            "no filling is seen along the line: mark the line on the filling, from coronal to the root's end"
        )
    full = np.vstack([np.interp(np.arange(rows), at, f[at]) for f in found])
    peak, centre, width, level, slope, error = full
    strong = float(np.nanpercentile(peak, 90))
    there = (peak > max(0.25 * strong, 6 * noise / np.sqrt(size))) & (width > 0.08) & (np.abs(centre) < 1.0)
    there = _whole(_no_wider(there, width, int(1.5 / mm)), int(GAP / mm))
    if strong < 4 * noise or there.sum() < 1.0 / mm:
        raise FilmError(
            "no filling is seen along the line: mark the line on the filling, from coronal to the root's end"
        )
    return Profile(peak, centre, width, np.maximum(error, mm / 4), level, slope, noise, there)


def steady(profile_: Profile, mm: float, span: float = 2.0) -> Profile:
    """The profile as it would be without voids: peak and width as medians over `span` mm, taken where there is filling."""
    size = max(int(span / mm) | 1, 5)
    peak, width, centre = (_median(v, profile_.there, size) for v in (profile_.peak, profile_.width, profile_.centre))
    level, slope = (median_filter(v, size // 2 | 1, mode="nearest") for v in (profile_.level, profile_.slope))
    return Profile(
        peak, centre, width, profile_.width_error, level, slope, profile_.noise, profile_.there
    )  # fmt: skip


def _fit(values: Array, u: Array, guess: Array) -> Array | None:
    """peak, centre, width, level, slope and the error of the width, by damped Gauss-Newton from a guess of centre and width."""
    use = np.isfinite(values) & (np.abs(u - guess[0]) < max(1.1 * guess[1], 0.5) + 0.25)
    x, y = u[use], values[use]
    if len(x) < 12:
        return None
    centre, width = guess
    linear, rest, base = _linear(x, y, centre, width)
    damp = 1.0
    for _ in range(ROUNDS):
        d = 1e-3
        jac = np.column_stack([
            (linear[2] * (shape(x, centre + d, width) - shape(x, centre - d, width))) / (2 * d),
            (linear[2] * (shape(x, centre, width + d) - shape(x, centre, width - d))) / (2 * d),
        ])  # fmt: skip
        jac = jac - base @ (np.linalg.lstsq(base, jac, rcond=None)[0])
        normal = jac.T @ jac
        scale = np.diag(np.diag(normal)) * 0.02 * damp + 1e-9 * np.eye(2)
        move = np.linalg.solve(normal + scale, jac.T @ rest)
        move = np.clip(move, -0.12, 0.12)
        tried = (float(np.clip(centre + move[0], -1.2, 1.2)), float(np.clip(width + move[1], 0.06, 3.0)))
        made = _linear(x, y, *tried)
        if float(made[1] @ made[1]) < float(rest @ rest):
            (centre, width), (linear, rest, base) = tried, made
            damp = max(damp / 3, 0.01)
            if np.abs(move).max() < 1e-3:
                break
        else:
            damp *= 5
            if damp > 1e4:
                break
    spread = float(rest @ rest) / max(len(x) - 5, 1)
    error = float(np.sqrt(spread / max(float(normal[1, 1]), 1e-12)))
    return np.array([linear[2], centre, width, linear[0], linear[1], min(error, 1.0)])


def _linear(x: Array, y: Array, centre: float, width: float) -> tuple[Array, Array, Array]:
    base = np.column_stack([np.ones_like(x), x, shape(x, np.array(centre), np.array(width))])
    found = np.linalg.lstsq(base, y, rcond=None)[0]
    return np.asarray(found), np.asarray(y - base @ found), np.asarray(base)


def _noise(grey: Array) -> float:
    """Standard deviation of a pixel, from second differences (median, so that edges do not count)."""
    second = np.diff(grey, 2, axis=0)
    second = second[np.isfinite(second)]
    if len(second) < 50:
        raise FilmError("too little of the picture lies along the line: mark it inside the picture")
    return float(np.median(np.abs(second)) / 0.6745 / np.sqrt(6.0)) + 1e-9


def _no_wider(there: NDArray[np.bool_], width: Array, size: int) -> NDArray[np.bool_]:
    """Without what is suddenly wider apically than the filling above it: the rounded end of the root is no filling."""
    kept = there.copy()
    accepted: list[float] = []
    for row in np.flatnonzero(there):
        if len(accepted) >= size // 3 and width[row] > WIDENS * float(np.median(accepted[-size:])) + 0.1:
            kept[row] = False
        else:
            accepted.append(float(width[row]))
    return kept


def _whole(there: NDArray[np.bool_], gap: int) -> NDArray[np.bool_]:
    """The longest stretch that no gap longer than `gap` rows interrupts: bright bone beyond the root is no filling."""
    at = np.flatnonzero(there)
    if not len(at):
        return there
    parts = np.split(at, np.flatnonzero(np.diff(at) > gap) + 1)
    kept = np.zeros_like(there)
    kept[max(parts, key=len)] = True
    return kept


def _median(values: Array, there: NDArray[np.bool_], size: int) -> Array:
    at = np.flatnonzero(there)
    filled = np.interp(np.arange(len(values)), at, median_filter(values[at], size, mode="nearest"))
    return np.asarray(filled)
