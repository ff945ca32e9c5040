"""Radiographs of phantoms: cone-beam geometry, scatter, blur, noise. Invented teeth, for tests and teaching.

Rays run from a point focus to a flat receptor. The tooth is cut into planes square to the central ray; each is magnified by
F / (F - d), d its distance from the receptor, and summed (similar triangles; the ray's slant, below 2 degrees here, is left out of
path lengths: less than 0.1 %). What is left on the receptor:

    grey = -1000 ln( (exp(-path) + s blur_wide(exp(-path))) / (1 + s) + noise )

`path` in attenuations, `s` scatter over primary. Attenuations are in mm of aluminium for a mm, times that of
aluminium at 60 kVp (0.15 a mm; from memory): dentine 1.0, spongy bone 0.5, filling 6 (ISO 6876 asks 3 at least).
Left out: beam hardening, focal spot, receptor lag, windowing by the maker.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

from canalwright.imaging.phantom.filling import Filled, Filling, filled
from canalwright.imaging.phantom.scan import Phantom, spongy_bone
from canalwright.imaging.radiograph.image import Film, Scale

Array = NDArray[np.float64]
ALUMINIUM = 0.15
DENTINE, BONE, MARROW, LIGAMENT, SOFT, FILLING = 1.0, 0.6, 0.25, 0.18, 0.18, 6.0


@dataclass(frozen=True)
class Beam:
    """How a film is taken. `turn` degrees about the tooth's axis, `tilt` of the beam out of the horizontal (vertical angulation);
    `focus` and `gap`: distances of focus and root from the receptor, mm; `pixel` mm; `scatter` over primary; `photons` a pixel in the
    open beam; `blur` mm of the receptor.
    """

    turn: float = 0.0
    tilt: float = 0.0
    focus: float = 300.0
    gap: float = 12.0
    pixel: float = 0.04
    scatter: float = 0.3
    photons: float = 8000.0
    blur: float = 0.035
    jaw: float = 10.0

    @property
    def magnification(self) -> float:
        """In the plane of the root's axis."""
        return self.focus / (self.focus - self.gap)


@dataclass(frozen=True)
class Projected:
    """A film with its truth, all in pixels: `line` (n, 2) of the canal by the stations `z`, from the terminus up; `root` (rows, columns):
    path through the root, mm; `scale` without error.
    """

    film: Film
    z: Array
    line: Array
    root: NDArray[np.float32] = field(repr=False)
    scale: Scale

    def at(self, z: float) -> Array:
        """Where station `z` shows, (x, y) in pixels; straight beyond the ends."""
        before = self.line[0] - self.line[2]
        step = float(self.z[2] - self.z[0])
        if z < 0:
            return np.asarray(self.line[0] + before / step * -z)
        return np.array([np.interp(z, self.z, c) for c in self.line.T])


def film_of(phantom: Phantom, filling: Filling, beam: Beam = Beam(), seed: int = 0, *, cell: float = 0.1) -> Projected:
    """A radiograph of a filled phantom, the crown upwards."""
    rng = np.random.default_rng(seed)
    turn = _frame(beam)
    low, high = _box(phantom, turn)
    size = np.ceil((high - low) / cell).astype(int)
    steps = turn * cell
    start = turn @ low + steps @ np.full(3, 0.5)
    tooth = filled(phantom, filling, start, steps, size)
    dense = _attenuation(tooth, phantom, rng, size)
    rows = int((high[2] - low[2]) * beam.magnification / beam.pixel)
    columns = int((high[0] - low[0]) * beam.magnification / beam.pixel)
    middle = (low + high) / 2
    path = _swept(dense, low, cell, beam, (rows, columns), middle)
    root = _swept(tooth.root[::2, ::2, ::2], low, 2 * cell, beam, (rows, columns), middle)
    depth = max(beam.jaw - (high[1] - low[1]), 0.0)
    shown = np.exp(-ALUMINIUM * (path + depth * BONE))
    spread = gaussian_filter(shown, 4.0 / beam.pixel, mode="nearest", truncate=2.0)
    shown = (shown + beam.scatter * spread) / (1 + beam.scatter)
    shown = gaussian_filter(shown, beam.blur / beam.pixel)
    counted = rng.poisson(np.maximum(shown * beam.photons, 0.1)) / beam.photons
    counted = gaussian_filter(counted, 0.4)
    grey = (-1000 * np.log(np.maximum(counted, 0.5 / beam.photons))).astype(np.float32)
    canal = phantom.truth[0]
    line = _shadow(canal.centre @ turn, beam, (rows, columns), middle)
    scale = Scale(beam.pixel / beam.magnification, 0.0, "known geometry")
    return Projected(Film(grey, beam.pixel, (), "phantom"), canal.z, line, root.astype(np.float32), scale)


def _frame(beam: Beam) -> Array:
    """Columns: x to the right on the film, y away from the focus towards the receptor, z up on the film; in the tooth's frame."""
    a, b = np.radians((beam.turn, beam.tilt))
    about = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1.0]])
    nod = np.array([[1.0, 0, 0], [0, np.cos(b), -np.sin(b)], [0, np.sin(b), np.cos(b)]])
    return np.asarray(about @ nod)


def _box(phantom: Phantom, turn: Array) -> tuple[Array, Array]:
    top = max(t.orifice[2] for t in phantom.truth) + 1.0
    keep = phantom.root.centre[:, 2] <= top
    centre, reach = phantom.root.centre[keep], phantom.root.major[keep] / 2
    around = np.vstack([centre + reach[:, None] * s for s in (*np.eye(3)[:2], *-np.eye(3)[:2])])
    grid = np.vstack([around, centre]) @ turn
    low, high = grid.min(0) - np.array([2.5, 1.0, 2.8]), grid.max(0) + np.array([2.5, 1.0, 0.0])
    high[2] = (centre @ turn)[:, 2].max()
    return low, high


def _attenuation(
    tooth: Filled, phantom: Phantom, rng: np.random.Generator, size: NDArray[np.int_]
) -> NDArray[np.float32]:
    """mm of aluminium for a mm, in each cell."""
    greys = type(phantom.greys)(bone=BONE, marrow=MARROW)
    dense = spongy_bone(rng, size, tooth.cell, greys)
    near = np.clip(0.5 - (tooth.outside - phantom.ligament) / tooth.cell, 0, 1)
    dense = near * LIGAMENT + (1 - near) * dense
    dense += tooth.root * (DENTINE - dense)
    dense += tooth.lumen * (SOFT - dense)
    dense += tooth.filling * (FILLING - dense)
    return np.asarray(dense, np.float32)


def _swept(
    volume: NDArray[np.float32], low: Array, cell: float, beam: Beam, shape: tuple[int, int], middle: Array
) -> Array:
    """Path integrals on the receptor, plane by plane."""
    rows, columns = shape
    v, u = np.mgrid[0:rows, 0:columns].astype(float)
    right = (u - (columns - 1) / 2) * beam.pixel
    up = -(v - (rows - 1) / 2) * beam.pixel
    total = np.zeros(shape)
    for j in range(volume.shape[1]):
        y = low[1] + (j + 0.5) * cell
        distance = beam.gap + (middle[1] - y)
        m = beam.focus / (beam.focus - distance)
        i = (right / m + middle[0] - low[0]) / cell - 0.5
        k = (up / m + middle[2] - low[2]) / cell - 0.5
        total += map_coordinates(volume[:, j, :], [k, i], order=1, mode="nearest")
    return total * cell


def _shadow(points: Array, beam: Beam, shape: tuple[int, int], middle: Array) -> Array:
    """Pixels (n, 2) of points given in the film's frame."""
    rows, columns = shape
    m = beam.focus / (beam.focus - (beam.gap + middle[1] - points[:, 1]))
    x = (points[:, 0] - middle[0]) * m / beam.pixel + (columns - 1) / 2
    y = -(points[:, 2] - middle[2]) * m / beam.pixel + (rows - 1) / 2
    return np.column_stack([x, y])
