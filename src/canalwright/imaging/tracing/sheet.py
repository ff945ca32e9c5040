"""How thick an isthmus is: a sheet between two canals, thinner than the blur or not.

Along lines square to the sheet the missing grey is summed: sum (D - g) / (D - L) dx is its thickness whatever the blur, since
the point spread moves grey about but keeps its sum (as a side branch's area in `portal`; half the depth of a blurred slit, or
its voxels above a threshold, lose what the blur carried out). Dentine D is the median of both ends of each line, the lumen's
grey L that of the main canal. The sheet's middle surface is a polynomial of the second order through its dark nodes; lines near
its rims, or near the blurred edges of the two lumens, are left out. What is told is the median of the rest.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from canalwright.imaging.tracing.block import Block
from canalwright.imaging.tracing.path import Tones

Array = NDArray[np.float64]
SPREAD = 0.8
"""Standard deviation of blur and voxel together, voxels, as for side branches."""
BACK = 0.08
"""Share of the contrast below which the profile across the sheet has come back to dentine."""
WIDEST = 0.6
"""Greatest half thickness that is looked at, mm."""
REACH = WIDEST + 0.2
"""How far beside the sheet its lines reach at most, mm."""
SCALE = 1.349
"""Distance between the quartiles of a normal distribution, standard deviations."""


def thickness(
    block: Block, tones: Tones, nodes: Array, dark: Array, step: float, way: Array, axis: Array
) -> tuple[float, float]:
    """Thickness of the sheet and its standard deviation, mm, from its dark `nodes` (m, 3), LPS mm, and their darkness (m,),
    on a grid of `step` mm.

    `way`: direction from the one canal to the other; `axis`: along the root, each (3,). `block` holds the nodes and `REACH` mm
    about them.
    """
    along = way / np.linalg.norm(way)
    up = axis - (axis @ along) * along
    frame = np.array([along, up / np.linalg.norm(up), np.cross(along, up / np.linalg.norm(up))])
    middle = nodes.mean(axis=0)
    t, h, n = frame @ (nodes - middle).T
    bend = _surface(t, h, n, np.clip(dark, 0.05, 1.0))
    spread = SPREAD * block.voxel
    cell = 1.5 * step
    at, clear = _clear(t, h, 2 * spread, cell)
    points, normal = _lines(bend, at, frame, middle)
    thin = min(0.5 * block.voxel, 0.05)
    inner = _half(block, tones, points, normal, spread)
    outer = min(inner + max(1.5 * block.voxel, 0.1), REACH)
    x = np.arange(-outer, outer + thin / 2, thin)
    within = np.abs(x) <= inner
    grey = block.sample(points[:, None] + x[:, None] * normal[:, None])
    dentine = np.median(grey[:, ~within], axis=1)
    contrast = np.maximum(dentine - tones.lumen, 0.3 * tones.contrast)
    told = (dentine[:, None] - grey[:, within]).sum(axis=1) / contrast * thin
    width = max(float(np.median(told)), 0.0)
    low, high = np.quantile(told, (0.25, 0.75))
    alone = max(len(at) * cell**2 / (2 * inner) ** 2, 1.0)
    scatter = 1.25 * float(high - low) / SCALE / np.sqrt(alone)
    return width, float(np.hypot(scatter, (0.05 if clear else 0.2) * width + 0.05 * block.voxel))


def _surface(t: Array, h: Array, n: Array, weight: Array) -> Array:
    """Coefficients (6,) of n = a + b t + c h + d t^2 + e t h + f h^2, twice: what lies far off the first is left out of the second."""
    table = np.column_stack([np.ones_like(t), t, h, t**2, t * h, h**2])
    root = np.sqrt(weight)
    for _ in range(2):
        bend = np.linalg.lstsq(table * root[:, None], n * root, rcond=None)[0]
        rest = np.abs(n - table @ bend)
        root = np.where(rest > 3 * max(float(np.median(rest)), 1e-6), 0.0, root)
    return np.asarray(bend)


def _clear(t: Array, h: Array, room: float, cell: float) -> tuple[Array, bool]:
    """Places (k, 2) on the sheet at least `room` mm from its rims; where there are none, those farthest from them, and False.

    Held is a square of `cell` mm with a node in it: wider than the diagonal of the nodes' grid, however that is turned.
    """
    low = np.array([t.min(), h.min()]) - cell
    index = np.floor((np.column_stack([t, h]) - low) / cell).astype(int)
    held = np.zeros(index.max(axis=0) + 2, bool)
    held[tuple(index.T)] = True
    away = (distance_transform_edt(held) - 0.5) * cell
    clear = bool((away > room).sum() >= 4)
    kept = away > room if clear else away >= 0.8 * away.max()
    return low + (np.argwhere(kept) + 0.5) * cell, clear


def _lines(bend: Array, at: Array, frame: Array, middle: Array) -> tuple[Array, Array]:
    """Points on the middle surface (k, 3), LPS mm, and its normals there (k, 3)."""
    t, h = at.T
    n = np.column_stack([np.ones_like(t), t, h, t**2, t * h, h**2]) @ bend
    slopes = bend[1] + 2 * bend[3] * t + bend[4] * h, bend[2] + bend[4] * t + 2 * bend[5] * h
    normal = np.column_stack([-slopes[0], -slopes[1], np.ones_like(t)]) @ frame
    return middle + np.column_stack([t, h, n]) @ frame, normal / np.linalg.norm(normal, axis=1)[:, None]


def _half(block: Block, tones: Tones, points: Array, normal: Array, spread: float) -> float:
    """Half width of the lines' inner part, mm: where the mean profile is back at dentine on both sides, and a spread more."""
    x = np.arange(0.0, WIDEST, 0.25 * block.voxel)
    lines = x[:, None, None] * np.array([normal, -normal])[:, None]
    profile = np.median(block.sample(points + lines), axis=2)
    back = [np.nonzero(side > tones.dentine - BACK * tones.contrast)[0] for side in profile]
    edge = max(float(x[b[0]]) if len(b) else WIDEST for b in back)
    return min(max(edge + spread, 2 * spread), WIDEST)
