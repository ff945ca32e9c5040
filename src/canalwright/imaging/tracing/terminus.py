"""Where the canal leaves the root.

From a point inside, rays go out in a cone about the canal's way down (the lumen's own narrow cone left out); each finds
the root's surface by the edge model of `wall`, the lumen's own darkness filled up. A second-order surface h(a, b) goes through
these points, weighted towards the axis. The terminus is where the canal's line crosses the rim of its mouth: the mean height of
that surface where the lumen's wall reaches it. A root with a round end is flat there; one that ends in a thin-walled tube is
not, and its surface lies below the mouth on the axis. From the second round on it is known how the surface lies to each ray, and what
blur moves a curved edge by is put back (`slant`), as for the wall: most at a slender end, which else comes out too short.

The foramen opens like a funnel: its width is known only once its place is, so it is looked for in rounds. At first the lumen
is filled up as wide as it is above; then as wide as it was fitted, down to the exit found so far and fading out through the surface
(filled up beyond it, a funnel became a plug of dentine in the bone). Rays that leave through the mouth tell of no surface and
are left out.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from canalwright.imaging.tracing.block import Block
from canalwright.imaging.tracing.ending import Ending
from canalwright.imaging.tracing.profile_fit import Fit
from canalwright.imaging.tracing.slant import Slant, meeting
from canalwright.imaging.tracing.wall import SUNK, Rays, coarse, fit_surface

Array = NDArray[np.float64]
INNER, OUTER = 18.0, 70.0
TILTS, TURNS = 8, 24
ROUNDS = 3
THROUGH, THROUGH_WEIGHT = 1.0, 0.02
"""How far beside the mouth's rim, in spreads, a ray is still thought to leave through the mouth; what it then counts."""
MOUTH_ERROR = 0.15
"""By how much, as a share, a mouth may be wider or narrower than the tube fitted above it: foramina are no ovals. Chosen on phantoms with
slender, pointed ends (odd seeds 1001 to 1059 of `accuracy_exit`)."""
NEAR, PITTED = 45.0, 4
"""Rays up to this angle from the axis (degrees) tell a pit in the surface; the deepest so many of them are averaged."""
CLEAR_PIT, PIT = 2.2, 0.8
"""Depth of a pit that noise makes, in errors of a ray; the exit's error as a share of what is deeper. Chosen on phantoms of seeds
1000 to 1023 whose canals open and turn aside."""
RESIDUAL = 0.3
"""The exit's error as a share of the usual distance of a ray from the surface; chosen on phantoms of seeds 1300 to 1329."""
RAGGED, RAGGED_FROM = 2.0, 0.1
"""How much more the exit is doubted for what the usual distance exceeds the second, mm: rays that scatter so are of no one surface."""
ROUND, POINTED, SHARPEST = 1.0, 1.5, 3.5
"""Mean curvature on the axis (1/mm) up to which an end is seen as round as it is; from which it may be any sharper one that blur made
blunt; and of the sharpest reckoned with, 0.3 mm in radius. What of it does not show is of the next order: the spread to the fourth
times the curvature to the third. These and the two above were chosen on phantoms of seeds 1400 to 1411 at voxels of 0.3 mm."""
LEAST_ERROR = 0.003
"""Error of the exit that no residual shows, mm; chosen on phantoms of seeds 1000 to 1059."""


@dataclass(frozen=True)
class Exit:
    """Distance `s` along the line (from its point 0) at which it leaves the root, and its error, mm."""

    s: float
    error: float


@dataclass(frozen=True)
class Mouth:
    """Where the canal was last found to leave the root: station and place across (2,)."""

    s: float
    centre: Array


@dataclass(frozen=True)
class Sheet:
    """The root's surface below a point: h = `c` . (1, a, b, aa, ab, bb), (a, b) across and h down, mm; the covariance of `c`, the usual
    distance of a ray from it, and how deep it is pitted.
    """

    c: Array
    covariance: Array
    usual: float
    pit: float

    def at(self, flat: Array) -> Array:
        """Depth at places (..., 2)."""
        return np.asarray(_terms(flat) @ self.c)

    def lies(self, ways: Array, flat: Array) -> Slant:
        """How it lies to rays of directions `ways` (..., 3), across and down, that meet it at places (..., 2)."""
        return meeting(ways, self.slope(flat), np.broadcast_to(self.c[3:] * (2, 1, 2), (*flat.shape[:-1], 3)))

    def slope(self, flat: Array) -> Array:
        """Derivatives of the depth to a and b at places (..., 2), (..., 2)."""
        a, b = flat[..., 0], flat[..., 1]
        _, by_a, by_b, by_aa, by_ab, by_bb = self.c
        return np.stack([by_a + 2 * by_aa * a + by_ab * b, by_b + by_ab * a + 2 * by_bb * b], axis=-1)


def find_exit(
    block: Block,
    end: Ending,
    inside: float,
    *,
    limits: tuple[float, float],
    first: float,
    noise: float,
    correlation: float,
) -> Exit | None:
    """The exit below station `inside` of the line, or None when no surface crosses it within `limits`.

    `first`: the station below which the lumen is filled up as wide as it is there, as long as no exit is known. Where a later round
    finds none, that of the round before stands.
    """
    origin, up, one, two = (a[0] for a in end.line(np.array([inside])))
    across = np.column_stack([one, two, -up])
    ways, polar = _cone(across)
    r = np.arange(0.1, 3.5, min(0.5 * block.voxel, 0.1))
    points = r[:, None] * ways[..., None, :]
    grey, places = block.sample(origin + points), end.places(origin + points)
    s = np.arange(inside, limits[0], -0.01)
    down = (end.line(s)[0] - origin) @ across
    low, mouth, sheet, found = first, None, None, None
    for _ in range(ROUNDS):
        filled = grey + _filling(end, places, low, sheet, points @ across)
        told = _surface(
            Rays(r, filled, np.full(polar.shape, 0.15)), end.fit, inside, noise, correlation, ways @ across, sheet
        )
        if told is None:
            break
        seen, radius, error = told
        steep = np.maximum(np.cos(polar[seen]), 0.35)
        sheet = _through((radius[:, None] * ways[seen]) @ across, error / steep, polar[seen], mouth, end)
        if sheet is None:
            break
        rim = np.zeros((1, 2)) if mouth is None else end.rim(low)
        gap = down[:, 2] - sheet.at(down[:, None, :2] + rim).mean(axis=1)
        crossed = np.nonzero(gap >= 0)[0]
        if not len(crossed) or s[crossed[0]] > limits[1]:
            break
        at = int(crossed[0])
        low = float(s[at])
        mouth = Mouth(low, down[at, :2])
        closing = max(0.3, float(gap[at] - gap[max(at - 5, 0)]) / max(1e-6, 0.01 * min(at, 5)))
        found = Exit(low, _doubt(sheet, down[at, :2] + rim, rim, end, low) / closing + LEAST_ERROR)
    return found


def _filling(end: Ending, places: tuple[Array, Array, Array], low: float, sheet: Sheet | None, points: Array) -> Array:
    """Greys that fill the lumen up along the rays, fading out through the surface where one is known; `points` (..., 3) across and
    down.
    """
    hole = end.hole(*places, low)
    if sheet is None:
        return hole
    upright = 1 / np.sqrt(1 + (sheet.slope(points[..., :2]) ** 2).sum(axis=-1))
    return np.asarray(hole * ndtr((sheet.at(points[..., :2]) - points[..., 2]) * upright / end.fit.spread))


def _surface(
    rays: Rays, fit: Fit, inside: float, noise: float, correlation: float, ways: Array, sheet: Sheet | None
) -> tuple[NDArray[np.bool_], Array, Array] | None:
    """Which rays (TILTS, TURNS) of directions `ways`, across and down, find a surface, how far from the point inside, and with which
    error; None where too few do. `sheet`: the surface as it was last found.
    """
    dentine = float(fit.value("d", np.array([inside]))[0])
    guess, _ = coarse(rays, dentine, fit.lumen, ordered=False)
    if np.isfinite(guess).mean() < 0.4:
        return None
    lies = sheet.lies(ways, np.nan_to_num(guess)[..., None] * ways[..., :2]) if sheet is not None else None
    found = fit_surface(
        rays, guess, dentine=np.full(len(guess), dentine), lumen=fit.lumen, spread=fit.spread, noise=noise,
        correlation=correlation, step=None, lies=lies,
    )  # fmt: skip
    return found.seen, found.radius[found.seen], found.error[found.seen]


def _through(points: Array, error: Array, polar: Array, mouth: Mouth | None, end: Ending) -> Sheet | None:
    """The surface through points (n, 3), across and down, of `error` (n,) down; rays that leave through the `mouth` count little."""
    flat, h = points[:, :2], points[:, 2]
    out = np.zeros(len(h), bool)
    if mouth is not None:
        beside = flat - mouth.centre
        reach = end.reach(mouth.s, np.arctan2(beside[:, 1], beside[:, 0]))
        out = np.hypot(*beside.T) < reach + THROUGH * end.fit.spread
    begun = np.where(out, THROUGH_WEIGHT, 1.0) / error * np.exp(-0.5 * (np.hypot(*flat.T) / 1.0) ** 2)
    if (begun > 0.02 * begun.max()).sum() < 12:
        return None
    design, weight = _terms(flat), begun
    judged = ~out if (~out).sum() > 12 else np.ones(len(h), bool)
    for _ in range(6):
        scaled = design * weight[:, None]
        c = np.linalg.lstsq(scaled, h * weight, rcond=None)[0]
        off = h - design @ c
        usual = 1.4826 * float(np.median(np.abs(off[judged]))) + 1e-6
        # rays come out short where something opens beside the mouth, long where the bone hides the edge
        weight = begun * np.where(off > 3 * usual, 0.2, np.where(off < -2 * max(usual, 0.02), 0.05, 1.0))
    near = polar < np.radians(NEAR)
    return Sheet(c, np.linalg.pinv(scaled.T @ scaled), usual, _pit(-off[near], error[near]))


def _doubt(sheet: Sheet, edge: Array, rim: Array, end: Ending, s: float) -> float:
    """Standard deviation (mm) of the depth at which the line at station `s` comes to the rim, whose places are `edge` (m, 2)."""
    row, slope, wide = _terms(edge).mean(axis=0), sheet.slope(edge), np.hypot(*rim.T)
    own = np.sqrt(row @ sheet.covariance @ row)
    ragged = np.hypot(RESIDUAL * sheet.usual, RAGGED * max(0.0, sheet.usual - RAGGED_FROM))
    down = np.broadcast_to((0.0, 0.0, 1.0), (*edge.shape[:-1], 3))
    lies, spread = sheet.lies(down, edge), end.fit.spread
    top = -float(sheet.c[3] + sheet.c[5])
    unseen = spread**4 * SHARPEST**3 * float(np.clip((top - ROUND) / (POINTED - ROUND), 0.0, 1.0))
    blunt = np.hypot(float(np.abs(lies.sunk(spread)).mean()) * np.hypot(SUNK, 2 * end.fit.spread_error), unseen)
    beside = np.hypot(*slope.mean(axis=0)) * end.aside(s)
    # how much the rim's height hangs on how wide the mouth is
    steep = float(np.mean((slope * rim).sum(axis=1) / np.maximum(wide, 1e-9)))
    mouth = steep * float(wide.mean()) * np.hypot(MOUTH_ERROR, end.wide_error(s))
    return float(np.sqrt(own**2 + ragged**2 + blunt**2 + beside**2 + mouth**2 + (PIT * sheet.pit) ** 2))


def _terms(flat: Array) -> Array:
    a, b = flat[..., 0], flat[..., 1]
    return np.stack([np.ones_like(a), a, b, a * a, a * b, b * b], axis=-1)


def _pit(short: Array, error: Array) -> float:
    """By how much (mm) the deepest rays end above the surface, beyond what their errors explain."""
    if len(short) < PITTED:
        return 0.0
    deepest = np.argsort(short)[-PITTED:]
    return max(0.0, float(np.mean(short[deepest] - CLEAR_PIT * error[deepest])))


def _cone(across: Array) -> tuple[Array, Array]:
    """Unit directions (TILTS, TURNS, 3) about the third column of `across` and their angle from it (TILTS, TURNS)."""
    tilt = np.radians(np.linspace(INNER, OUTER, TILTS))[:, None]
    turn = np.linspace(0, 2 * np.pi, TURNS, endpoint=False)[None]
    flat = np.stack([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt) + 0 * turn], axis=-1)
    return flat @ across.T, np.broadcast_to(tilt, flat.shape[:2])
