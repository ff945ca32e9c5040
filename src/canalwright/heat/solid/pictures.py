"""Two longitudinal sections through the root, for the film: along the plane of the curve (z, x) and across it (z, y)."""

from typing import Any

import numpy as np

from canalwright.heat.solid.space import Array
from canalwright.heat.solid.tissue import Solid


def section_cells(solid: Solid) -> Any:
    """Cells of both sections, one after the other: by layer those at the y (the x) of the canal's axis there."""
    nz, ny, nx = solid.space.shape
    index = np.arange(nz * ny * nx).reshape(solid.space.shape)
    j, i = _axis_of(solid)
    z = np.arange(nz)
    return np.concatenate([index[z, j, :].ravel(), index[z, :, i].ravel()])


def sections(solid: Solid, film: Array) -> tuple[Array, Array]:
    """The two sections of pictures `film` (t, k): shapes (t, nz, nx) and (t, nz, ny)."""
    nz, ny, nx = solid.space.shape
    first = nz * nx
    return film[..., :first].reshape(*film.shape[:-1], nz, nx), film[..., first:].reshape(*film.shape[:-1], nz, ny)


def _axis_of(solid: Solid) -> tuple[Any, Any]:
    """Indices y and x of the cell nearest to the canal's axis in each layer; beyond its ends those of the ends."""
    nz, _, nx = solid.space.shape
    flat = np.argmin(solid.radius.reshape(nz, -1), axis=1)
    inside = np.flatnonzero(solid.station.reshape(nz, -1)[np.arange(nz), flat] >= 0)
    near = inside[np.argmin(np.abs(np.arange(nz)[:, None] - inside[None, :]), axis=1)] if len(inside) else np.arange(nz)
    return flat[near] // nx, flat[near] % nx
