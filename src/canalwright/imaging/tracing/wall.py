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

from canalwright.imaging.tracing.wall_kernel import edges, first_edges

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
    contrast = dentine - lumen
    step = float(rays.r[1] - rays.r[0])
    out, first_end = first_edges(
        rays.grey, rays.r, rays.clear, dentine - DROP * contrast, dentine - 0.12 * contrast, max(2, round(0.5 / step)), round(2.5 / step)
    )  # fmt: skip
    return (_despiked(out) if ordered else out), first_end


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
    x = np.column_stack([x0, np.full(len(x0), np.log(LIGAMENT)), d0, np.full(len(x0), floor + 0.5 * contrast)])
    tight = 1 / np.array([1.0, LIGAMENT_ERROR, 0.06 * contrast, 0.6 * contrast]) ** 2
    sampled = rays.r[1] - rays.r[0]
    thinning = max(1.0, 1.5 * spread / sampled) * correlation
    x, spread_of, shift = edges(
        x, tight, x0 - 4 * spread, x0 + 0.9, rays.clear[seen], rays.grey[seen], rays.r, floor, spread, noise * np.sqrt(thinning)
    )  # fmt: skip
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
