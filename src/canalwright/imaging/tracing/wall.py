"""The root's outer surface, ray by ray, finer than a voxel.

Along a ray from the canal's centre outwards, with the lumen's own darkness filled in, the grey goes from dentine D over
the thin ligament (grey Y, width w) to bone B, all through the same Gaussian spread s (N: normal distribution function):

    g(r) = D + (Y - D) N((r - r0)/s) + (B - Y) N((r - r0 - w)/s)

The ligament (0.15-0.4 mm wide) is thinner than the spread, so w leans on what is expected of it; r0 does so by half of that.
What is expected is first the usual width, then the one that all rays of the root tell together (`ligament`): else a wide
ligament would move the whole surface one way. In air or soft tissue B comes out equal to Y and the ligament drops out. All
rays are fitted at once (damped Gauss-Newton, 4 unknowns each), then smoothed over direction and station, each with its error;
then once more, spread and ligament now as long as the ray cuts them and the edge put back by what blurring a curved surface
moves it (`slant`).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.sparse import csr_array, diags_array, eye_array, kron
from scipy.sparse.linalg import splu

from canalwright.imaging.tracing.ligament import LOCAL, USUAL, USUAL_ERROR, pooled
from canalwright.imaging.tracing.slant import Slant, slant
from canalwright.imaging.tracing.wall_kernel import edges, first_edges

Array = NDArray[np.float64]
DIRECTIONS = 32
REACH = 6.5
MODEL_ERROR, MODEL_VOXEL = 0.003, 0.04
"""Error of the wall that no noise explains, mm and share of the voxel: curved surface, oblique plane, spread taken as
Gaussian."""
SMOOTHED = 0.5
"""Error of the smoothed surface over what the smoothing's prior says: real surfaces are smoother than that prior. All three
were chosen on phantoms of seeds 1000 to 1061 and are checked on others (docs/models/scan-accuracy.md)."""
BENT = 2.0, 3.0
"""Usual second derivative of the squared distance along the root (mm2 per mm2; of a round end it is 2) and around it (mm2)."""
SUNK = 0.3
"""Error of what blurring moves a curved edge, as a share of it: the second term of the expansion is left out."""
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

    `error` holds `own`, which is each place's, and what moves all places together: `lean` (S, K, 2), by how much the distance
    moves with the lumen's grey and with the logarithm of the spread. `edge`: distance of the blurred edge. `ligament`
    (width along the ray), `beyond` and `dentine` (greys): the edge model's other unknowns; `soft`: the ligament's grey.
    """

    radius: Array
    error: Array
    own: Array
    lean: Array
    edge: Array
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
    lies: Slant | None = None,
    unsure: tuple[float, float] = (0.0, 0.0),
    voxel: float = 0.0,
) -> Surface:
    """Fit the edge model to every ray with a guess (S, K); `dentine` (S,).

    `step`: distance between stations (mm) for the smoothing over stations and directions, None for no smoothing; how the surface
    `lies` to the rays is then told, or taken for square and flat.
    `unsure`: standard deviations of the lumen's grey and of the logarithm of the spread, which move all rays together;
    `voxel` (mm): what the model leaves out grows with it.
    """
    contrast = float(np.median(dentine)) - lumen
    seen = np.isfinite(guess)
    which = np.argwhere(seen)
    floor = _ligament_grey(rays, guess, lumen)
    x0 = guess[seen] + 0.25 * spread
    start = np.column_stack([
        x0, np.full(len(x0), np.log(USUAL)), dentine[which[:, 0]], np.full(len(x0), floor + 0.5 * contrast)
    ])  # fmt: skip
    sampled = rays.r[1] - rays.r[0]
    grain = noise * np.sqrt(max(1.0, 1.5 * spread / sampled) * correlation)

    def fitted(start: Array, doubt: float, along: Array) -> tuple[Array, Array, Array]:
        tight = 1 / np.array([1.0, doubt, 0.06 * contrast, 0.6 * contrast]) ** 2
        low, high = x0 - 4 * spread, x0 + 0.9
        return edges(start, tight, low, high, rays.clear[seen], rays.grey[seen], rays.r, floor, along, grain)

    first, told, moved = fitted(start, float(np.hypot(USUAL_ERROR, LOCAL)), np.full(len(x0), spread))
    patch = 2 * spread / np.maximum(float(np.median(guess[seen])) * 2 * np.pi / guess.shape[1], 0.05)
    patch = max(1.0, patch) * max(1.0, 2 * spread / (step or 2 * spread))
    root = pooled(first[:, 1], told[:, 1], moved[:, 1], patch)
    oblique, sunk = np.ones(guess.shape), np.zeros(guess.shape)
    if step is not None and len(guess) > 2:
        lies = slant(_smoothed(_laid(first[:, 0], seen), _laid(np.hypot(told[:, 0], 0.02), seen, 1.0), step)[0], step)
    if lies is not None:
        oblique, sunk = lies.cosine, lies.sunk(spread)
    start[:, 1] = root.log_width - np.log(oblique[seen])
    x, doubts, shift = fitted(start, LOCAL, spread / oblique[seen])
    edge, error = _laid(x[:, 0], seen), _laid(np.hypot(doubts[:, 0], 0.02), seen, 1.0)
    own, share = error, 1.0
    if step is not None:
        edge, own = _smoothed(edge, error, step)
        share = SMOOTHED
    own = np.sqrt((share * own) ** 2 + MODEL_ERROR**2 + (MODEL_VOXEL * voxel) ** 2 + (SUNK * sunk) ** 2)
    lean = shift[:, 0, 2]
    moves = (shift[:, 0, :2] + lean[:, None] * root.shift).T
    common = np.stack([_filled(_laid(move, seen)) for move in moves], axis=-1)
    ligament = _filled(_laid(lean * root.error, seen))
    own = np.hypot(own, ligament)
    error = np.sqrt(own**2 + ((common * np.asarray(unsure)) ** 2).sum(axis=-1))
    maps = [_filled(_laid(column, seen)) for column in (np.exp(x[:, 1]), x[:, 3], x[:, 2])]
    return Surface(edge + sunk, error, own, common, edge, seen, maps[0], maps[1], maps[2], floor)


def _laid(values: Array, seen: NDArray[np.bool_], other: float = np.nan) -> Array:
    """Values of the rays that were fitted (m,), on the grid of all (S, K); `other` elsewhere."""
    out = np.full(seen.shape, other)
    out[seen] = values
    return out


def _filled(table: Array) -> Array:
    """The median where no ray tells."""
    return np.where(np.isnan(table), np.nanmedian(table), table)


def _ligament_grey(rays: Rays, guess: Array, lumen: float) -> float:
    """Grey of soft tissue: the lumen's, or what the darkest rays show beyond the edge if that is darker still."""
    beyond = (rays.r > guess[..., None]) & (rays.r < guess[..., None] + 0.6)
    least = np.where(beyond, rays.grey, np.inf).min(axis=-1)
    least = least[np.isfinite(least) & np.isfinite(guess)]
    return min(lumen, float(np.quantile(least, 0.05))) if len(least) else lumen


def _smoothed(raw: Array, error: Array, step: float) -> tuple[Array, Array]:
    """Penalised fit over stations and (periodic) directions; returns radius and error, both (S, K).

    What is smooth is the square of the distance: of a round end it bends evenly, where the distance itself falls ever more steeply.
    """
    stations, directions = raw.shape
    weight = np.where(np.isfinite(raw), 1 / (2 * np.maximum(raw, 0.2) * error) ** 2, 0.0).ravel()
    values = np.where(np.isfinite(raw), raw**2, 0.0).ravel()
    along = _second(stations) / step**2 / BENT[0] * np.sqrt(step / 0.4)
    turn = 2 * np.pi / directions
    ring = diags_array([1.0, -2.0, 1.0], offsets=[-1, 0, 1], shape=(directions, directions)).tolil()
    ring[0, directions - 1] = ring[directions - 1, 0] = 1.0
    around = csr_array(ring) / turn**2 / BENT[1] * np.sqrt(turn / 0.5)
    first = kron(along, eye_array(directions))
    second = kron(eye_array(stations), around)
    normal = (diags_array(weight) + first.T @ first + second.T @ second + 1e-6 * eye_array(len(values))).tocsc()
    solved = splu(normal)
    radius = np.sqrt(np.maximum(solved.solve(weight * values), 0.01))
    # errors: the diagonal of the inverse, by probing with random signs (Bekas et al. 2007, Appl Numer Math 57:1214)
    rng = np.random.default_rng(1)
    signs = rng.choice([-1.0, 1.0], (len(values), 24))
    diagonal = np.mean(signs * solved.solve(signs), axis=1)
    return radius.reshape(raw.shape), (np.sqrt(np.maximum(diagonal, 1e-6)) / (2 * radius)).reshape(raw.shape)


def _second(n: int) -> csr_array:
    return csr_array(diags_array([1.0, -2.0, 1.0], offsets=[0, 1, 2], shape=(max(n - 2, 0), n)))
