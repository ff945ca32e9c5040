"""The root's outer surface, ray by ray, finer than a voxel.

Along a ray from the canal's centre outwards, with the lumen's own darkness filled in, the grey goes from dentine D over
the thin ligament (grey Y, width w) to bone B, all through the same Gaussian spread s (N: normal distribution function):

    g(r) = D + (Y - D) N((r - r0)/s) + (B - Y) N((r - r0 - w)/s)

The ligament (0.15-0.4 mm wide) is thinner than the spread, so w leans on a prior; r0 does so only by half of that. In
air or soft tissue B comes out equal to Y and the ligament drops out. All rays are fitted at once (damped Gauss-Newton,
4 unknowns each), then smoothed over direction and station, each with its error.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.sparse import csr_array, diags_array, eye_array, kron
from scipy.sparse.linalg import splu
from scipy.special import ndtr

Array = NDArray[np.float64]
DIRECTIONS = 32
REACH = 6.5
LIGAMENT, LIGAMENT_ERROR = 0.2, 0.45
"""Ligament width (mm) and standard deviation of its logarithm: published means run from 0.15 to 0.38 mm."""
MODEL_ERROR, MODEL_VOXEL = 0.003, 0.05
"""Error of the wall that no noise explains, mm and share of the voxel: curved surface, oblique plane, spread taken as
Gaussian."""
SMOOTHED = 0.5
"""Error of the smoothed surface over what the smoothing's prior says: real surfaces are smoother than that prior. All three
were chosen on phantoms of seeds 1000 to 1061 and are checked on others (docs/models/scan-accuracy.md)."""
DROP = 0.3


@dataclass(frozen=True)
class Rays:
    """Profiles: `grey` (stations, directions, samples) at distances `r` (samples,) from the centre; `clear` (stations,
    directions): where the lumen ends along the ray.
    """

    r: Array
    grey: Array
    clear: Array


@dataclass(frozen=True)
class Surface:
    """Distance of the root's surface by station and direction (S, K), its error, and whether a ray found it.

    `ligament` (width), `beyond` and `dentine` (greys): the edge model's other unknowns; `soft`: the ligament's grey.
    """

    radius: Array
    error: Array
    seen: NDArray[np.bool_]
    ligament: Array
    beyond: Array
    dentine: Array
    soft: float


def coarse(rays: Rays, dentine: float, lumen: float, *, ordered: bool = True) -> tuple[Array, Array]:
    """First guess of the surface's distance (S, K), NaN where a ray finds none; and where dentine first ends (S, K).

    The first lasting fall below dentine by `DROP` of the contrast, past the brightest place that follows the lumen; a
    dark gap with half a millimetre of full dentine behind it is another canal and is passed over (the second array
    stops there). `ordered`: neighbouring rays are near in space, so that one that stands out is dropped.
    """
    level = dentine - DROP * (dentine - lumen)
    full = dentine - 0.12 * (dentine - lumen)
    step = rays.r[1] - rays.r[0]
    behind = max(2, round(0.5 / step))
    stations, directions = rays.clear.shape
    out = np.full((stations, directions), np.nan)
    first_end = np.full((stations, directions), rays.r[-1])
    for s in range(stations):
        for k in range(directions):
            g = rays.grey[s, k]
            first = int(np.searchsorted(rays.r, rays.clear[s, k]))
            bright = np.nonzero(g[first:] > level)[0]
            if not len(bright):
                first_end[s, k] = rays.clear[s, k]
                continue
            at = first + int(bright[0])
            while at < len(g):
                dark = np.nonzero(g[at:] < level)[0]
                if not len(dark):
                    at = len(g)
                    break
                edge = at + int(dark[0])
                first_end[s, k] = min(first_end[s, k], rays.r[edge])
                again = np.nonzero(_lasting(g[edge : edge + round(2.5 / step)] > full, behind))[0]
                if not len(again):
                    out[s, k] = rays.r[edge - 1] + step * (g[edge - 1] - level) / (g[edge - 1] - g[edge])
                    break
                at = edge + int(again[0])
    return (_despiked(out) if ordered else out), first_end


def _lasting(flags: NDArray[np.bool_], count: int) -> NDArray[np.bool_]:
    """True where `count` flags in a row begin."""
    if len(flags) < count:
        return np.zeros(0, bool)
    total = np.concatenate([[0], np.cumsum(flags)])
    return np.asarray(total[count:] - total[:-count] == count)


def _despiked(radius: Array) -> Array:
    """Rays that stand out by more than 0.6 mm from the median of their neighbours are dropped (NaN)."""
    filled = np.where(np.isnan(radius), np.nanmedian(radius) if np.isfinite(radius).any() else 0.0, radius)
    wrapped = np.pad(filled, ((0, 0), (2, 2)), mode="wrap")
    middle = median_filter(wrapped, size=(5, 5), mode="nearest")[:, 2:-2]
    return np.where(np.abs(radius - middle) > 0.6, np.nan, radius)


def fit_surface(
    rays: Rays,
    guess: Array,
    *,
    dentine: Array,
    lumen: float,
    spread: float,
    noise: float,
    correlation: float,
    step: float | None,
    unsure: tuple[float, float] = (0.0, 0.0),
    voxel: float = 0.0,
) -> Surface:
    """Fit the edge model to every ray with a guess (S, K); `dentine` (S,).

    `step`: distance between stations (mm) for the smoothing over stations and directions, None for no smoothing.
    `unsure`: standard deviations of the lumen's grey and of the logarithm of the spread, which move all rays together;
    `voxel` (mm): what the model leaves out grows with it.
    """
    contrast = float(np.median(dentine)) - lumen
    seen = np.isfinite(guess)
    which = np.argwhere(seen)
    floor = _ligament_grey(rays, guess, lumen)
    x0 = guess[seen] + 0.25 * spread
    d0 = dentine[which[:, 0]]
    near = (rays.r[None] > x0[:, None] - 4 * spread) & (rays.r[None] < x0[:, None] + 0.9)
    near &= rays.r[None] > rays.clear[seen][:, None]
    grey = rays.grey[seen]
    x = np.column_stack([x0, np.full(len(x0), np.log(LIGAMENT)), d0, np.full(len(x0), floor + 0.5 * contrast)])
    centre = x.copy()
    tight = 1 / np.array([1.0, LIGAMENT_ERROR, 0.06 * contrast, 0.6 * contrast]) ** 2
    sampled = rays.r[1] - rays.r[0]
    thinning = max(1.0, 1.5 * spread / sampled) * correlation
    x, spread_of, shift = _edges(x, centre, tight, near, grey, rays.r, floor, spread, noise * np.sqrt(thinning))
    raw = np.full(guess.shape, np.nan)
    raw[seen] = x[:, 0]
    error = np.full(guess.shape, 1.0)
    error[seen] = np.hypot(spread_of, 0.02)
    radius, error = (raw, error) if step is None else _smoothed(raw, error, step)
    own = 1.0 if step is None else SMOOTHED
    common = np.full(guess.shape, np.nan)
    common[seen] = np.hypot(shift[:, 0] * unsure[0], shift[:, 1] * unsure[1])
    common = np.where(np.isnan(common), np.nanmedian(common), common)
    error = np.sqrt((own * error) ** 2 + common**2 + MODEL_ERROR**2 + (MODEL_VOXEL * voxel) ** 2)
    maps = []
    for column in (1, 3, 2):
        one = np.full(guess.shape, np.nan)
        one[seen] = np.exp(x[:, 1]) if column == 1 else x[:, column]
        maps.append(np.where(np.isnan(one), np.nanmedian(one), one))
    return Surface(radius, error, seen, maps[0], maps[1], maps[2], floor)


def _ligament_grey(rays: Rays, guess: Array, lumen: float) -> float:
    """Grey of soft tissue: the lumen's, or what the darkest rays show beyond the edge if that is darker still."""
    beyond = (rays.r > guess[..., None]) & (rays.r < guess[..., None] + 0.6)
    least = np.where(beyond, rays.grey, np.inf).min(axis=-1)
    least = least[np.isfinite(least) & np.isfinite(guess)]
    return min(lumen, float(np.quantile(least, 0.05))) if len(least) else lumen


def _edges(
    x: Array, centre: Array, tight: Array, near: NDArray[np.bool_], grey: Array, r: Array, floor: float, spread: float,
    noise: float,
) -> tuple[Array, Array, Array]:  # fmt: skip
    """Batched damped Gauss-Newton on (r0, log w, D, B) per ray: solutions (m, 4), errors of r0 (m,), and by how much r0
    moves with the soft tissue's grey and with the logarithm of the spread (m, 2).
    """
    damping = np.full(len(x), 1e-2)
    cost = np.full(len(x), np.inf)
    base = x.copy()
    normal = np.tile(np.eye(4), (len(x), 1, 1))
    slope = np.zeros_like(x)
    pulls = np.zeros((len(x), 4, 2))
    for _ in range(12):
        z1 = (r - x[:, :1]) / spread
        w = np.exp(x[:, 1:2])
        z2 = z1 - w / spread
        n1, n2 = ndtr(z1), ndtr(z2)
        p1, p2 = (np.exp(-0.5 * z**2) / (np.sqrt(2 * np.pi) * spread) for z in (z1, z2))
        d, b = x[:, 2:3], x[:, 3:4]
        model = d + (floor - d) * n1 + (b - floor) * n2
        off = np.where(near, (grey - model) / noise, 0.0)
        weight = np.where(np.abs(off) > 3, 3 / np.maximum(np.abs(off), 1e-9), 1.0)
        now = (weight * off**2).sum(1) + (tight * (x - centre) ** 2).sum(1)
        better = now < cost
        jac = np.stack([-(floor - d) * p1 - (b - floor) * p2, -(b - floor) * p2 * w, 1 - n1, n2], axis=-1)
        jac = np.where(near[..., None], jac / noise, 0.0)
        fresh = np.einsum("mri,mr,mrj->mij", jac, weight, jac) + np.diag(tight)
        pull = np.einsum("mri,mr->mi", jac, weight * off) - tight * (x - centre)
        base = np.where(better[:, None], x, base)
        normal = np.where(better[:, None, None], fresh, normal)
        slope = np.where(better[:, None], pull, slope)
        wide = -((floor - d) * z1 * p1 + (b - floor) * z2 * p2) * spread
        fixed = np.where(near[..., None], np.stack([n1 - n2, wide], axis=-1) / noise, 0.0)
        drag = np.einsum("mri,mr,mrj->mij", jac, weight, fixed)
        pulls = np.where(better[:, None, None], drag, pulls)
        cost = np.where(better, now, cost)
        damping = np.where(better, damping / 4, damping * 8)
        damped = normal + damping[:, None, None] * np.einsum("mii,ij->mij", normal, np.eye(4))
        move = np.linalg.solve(damped, slope[..., None])[..., 0]
        move[:, 0] = np.clip(move[:, 0], -0.1, 0.1)
        x = base + move
        x[:, 1] = np.clip(x[:, 1], np.log(0.05), np.log(0.8))
    inverse = np.linalg.inv(normal)
    return base, np.sqrt(inverse[:, 0, 0]), -np.einsum("mi,mij->mj", inverse[:, 0], pulls)


def _smoothed(raw: Array, error: Array, step: float) -> tuple[Array, Array]:
    """Penalised fit over stations and (periodic) directions; returns radius and error, both (S, K)."""
    stations, directions = raw.shape
    weight = np.where(np.isfinite(raw), 1 / error**2, 0.0).ravel()
    values = np.where(np.isfinite(raw), raw, 0.0).ravel()
    along = _second(stations) / step**2 / 0.6 * np.sqrt(step / 0.4)
    turn = 2 * np.pi / directions
    ring = diags_array([1.0, -2.0, 1.0], offsets=[-1, 0, 1], shape=(directions, directions)).tolil()
    ring[0, directions - 1] = ring[directions - 1, 0] = 1.0
    around = csr_array(ring) / turn**2 / 1.0 * np.sqrt(turn / 0.5)
    first = kron(along, eye_array(directions))
    second = kron(eye_array(stations), around)
    normal = (diags_array(weight) + first.T @ first + second.T @ second + 1e-6 * eye_array(len(values))).tocsc()
    solved = splu(normal)
    radius = solved.solve(weight * values)
    # errors: the diagonal of the inverse, by probing with random signs (Bekas et al. 2007, Appl Numer Math 57:1214)
    rng = np.random.default_rng(1)
    signs = rng.choice([-1.0, 1.0], (len(values), 24))
    diagonal = np.mean(signs * solved.solve(signs), axis=1)
    return radius.reshape(raw.shape), np.sqrt(np.maximum(diagonal, 1e-6)).reshape(raw.shape)


def _second(n: int) -> csr_array:
    return csr_array(diags_array([1.0, -2.0, 1.0], offsets=[0, 1, 2], shape=(max(n - 2, 0), n)))
