"""Where the canal leaves the root.

From a point inside, rays go out in a cone about the canal's way down (the lumen's own narrow cone left out); each finds
the root's surface by the edge model of `wall`. A second-order surface h(a, b) through these points, weighted towards
the axis, is crossed with the canal's line carried on: the crossing is the terminus. Where rays near the axis come out short of
that surface the canal opens like a funnel or turns aside, unseen by the line: that makes the end less sure.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.tracing.block import Block
from canalwright.imaging.tracing.wall import Rays, coarse, fit_surface

Array = NDArray[np.float64]
INNER, OUTER = 18.0, 70.0
TILTS, TURNS = 6, 24
NEAR, PITTED = 45.0, 4
"""Rays up to this angle from the axis (degrees) tell a pit in the surface; the deepest so many of them are averaged."""
CLEAR_PIT, PIT = 2.2, 0.8
"""Depth of a pit that noise makes, in errors of a ray; the exit's error as a share of what is deeper. Chosen on phantoms of seeds
1000 to 1023 whose canals open and turn aside."""
LEAST_ERROR = 0.003
"""Error of the exit that no residual shows, mm; chosen on phantoms of seeds 1000 to 1059."""


@dataclass(frozen=True)
class Exit:
    """Distance `s` along the line (from its point 0) at which it leaves the root, and its error, mm."""

    s: float
    error: float


def find_exit(
    block: Block,
    line: Callable[[Array], tuple[Array, Array, Array, Array]],
    inside: float,
    *,
    limits: tuple[float, float],
    fill: Callable[[Array], Array],
    dentine: float,
    lumen: float,
    spread: float,
    noise: float,
    correlation: float,
    aside: Callable[[float], float],
) -> Exit | None:
    """The exit below station `inside` of the line, or None when no surface crosses it within `limits`.

    `line(s)` gives points, tangents (coronal), normals and binormals, each (k, 3). `fill(points)` gives the greys that
    the lumen takes away at LPS points (..., 3), to be added back. `aside(s)`: how far the line may lie beside the canal there
    (mm, standard deviation): where the root's surface stands aslant to the canal, as beside its tip, that moves the exit.
    """
    origin, up, one, two = (a[0] for a in line(np.array([inside])))
    ways, polar = _cone(up, one, two)
    r = np.arange(0.1, 3.5, min(0.5 * block.voxel, 0.1))
    points = origin + r[:, None] * ways[..., None, :]
    grey = block.sample(points) + fill(points)
    rays = Rays(r, grey, np.full(ways.shape[:2], 0.15))
    guess, _ = coarse(rays, dentine, lumen, ordered=False)
    if np.isfinite(guess).mean() < 0.4:
        return None
    tall = np.full(len(guess), dentine)
    surface = fit_surface(
        rays, guess, dentine=tall, lumen=lumen, spread=spread, noise=noise, correlation=correlation, step=None
    )
    radius, error = surface.radius[surface.seen], surface.error[surface.seen]
    found = radius[:, None] * ways[surface.seen]
    a, b, h = found @ one, found @ two, -(found @ up)
    slant = np.maximum(np.cos(polar[surface.seen]), 0.35)
    weight = 1 / (error / slant) * np.exp(-0.5 * (np.hypot(a, b) / 1.0) ** 2)
    if (weight > 0.02 * weight.max()).sum() < 12:
        return None
    design = np.column_stack([np.ones_like(a), a, b, a * a, a * b, b * b])
    for _ in range(4):
        scaled = design * weight[:, None]
        coefficients = np.linalg.lstsq(scaled, h * weight, rcond=None)[0]
        off = h - design @ coefficients
        usual = 1.4826 * np.median(np.abs(off)) + 1e-6
        weight = weight * np.where(np.abs(off) > 3 * usual, 0.2, 1.0)
    covariance = np.linalg.pinv(scaled.T @ scaled)
    near = polar[surface.seen] < np.radians(NEAR)
    pit = _pit((design @ coefficients - h)[near], (error / slant)[near])
    s = np.arange(inside, limits[0], -0.01)
    down = line(s)[0] - origin
    x, y, z = down @ one, down @ two, -(down @ up)
    sheet = np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y])
    gap = z - sheet @ coefficients
    crossed = np.nonzero(gap >= 0)[0]
    if not len(crossed) or s[crossed[0]] > limits[1]:
        return None
    at = int(crossed[0])
    spread_of_h = float(np.sqrt(sheet[at] @ covariance @ sheet[at]))
    residual = float(usual) * 0.5
    closing = max(0.3, float(gap[at] - gap[max(at - 5, 0)]) / max(1e-6, 0.01 * min(at, 5)))
    _, by_a, by_b, by_aa, by_ab, by_bb = coefficients
    slope = np.hypot(by_a + 2 * by_aa * x[at] + by_ab * y[at], by_b + by_ab * x[at] + 2 * by_bb * y[at])
    beside = float(slope) * aside(float(s[at]))
    doubt = np.sqrt(spread_of_h**2 + residual**2 + beside**2 + (PIT * pit) ** 2)
    return Exit(float(s[at]), float(doubt) / closing + LEAST_ERROR)


def _pit(short: Array, error: Array) -> float:
    """By how much (mm) the deepest rays end above the surface, beyond what their errors explain."""
    if len(short) < PITTED:
        return 0.0
    deepest = np.argsort(short)[-PITTED:]
    return max(0.0, float(np.mean(short[deepest] - CLEAR_PIT * error[deepest])))


def _cone(up: Array, one: Array, two: Array) -> tuple[Array, Array]:
    """Unit directions (TILTS, TURNS, 3) about -up and their angle from it (TILTS, TURNS)."""
    tilt = np.radians(np.linspace(INNER, OUTER, TILTS))[:, None]
    turn = np.linspace(0, 2 * np.pi, TURNS, endpoint=False)[None]
    flat = np.cos(turn)[..., None] * one + np.sin(turn)[..., None] * two
    ways = -np.cos(tilt)[..., None] * up + np.sin(tilt)[..., None] * flat
    return ways, np.broadcast_to(tilt, ways.shape[:2])
