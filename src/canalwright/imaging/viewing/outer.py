"""A tooth as a surface, for looking at: from the solid that the canals were found in, smoothed, at three sizes."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, zoom
from skimage.measure import marching_cubes

from canalwright.imaging.tooth.outline import Tooth

marched: Any = marching_cubes
LEVELS = (0.5, 1.0, 2.5)
"""Nodes to one of the tooth's own grid (0.25 mm), fine to coarse: 0.125, 0.25 and 0.6 mm."""


@dataclass(frozen=True)
class Outer:
    """Triangles of a surface: `vertices` (n, 3) LPS mm, `faces` (m, 3)."""

    vertices: NDArray[np.float32]
    faces: NDArray[np.uint32]


def tooth_surfaces(tooth: Tooth) -> tuple[Outer, ...]:
    """The outer surface of a tooth, finest first."""
    soft = gaussian_filter(np.pad(tooth.solid, 3).astype(np.float32), 0.8)
    out = []
    for level in LEVELS:
        grid = zoom(soft, 1 / level, order=1, grid_mode=False)
        nodes, faces, _, _ = marched(grid, 0.5)
        scale = (np.array(soft.shape) - 1) / (np.array(grid.shape) - 1)
        out.append(Outer(tooth.place(nodes * scale - 3).astype(np.float32), faces[:, ::-1].astype(np.uint32)))
    return tuple(out)
