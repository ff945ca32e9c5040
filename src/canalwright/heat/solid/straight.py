"""A straight canal along z in a root round its axis: the geometry of the reference problem, and of tests."""

from collections.abc import Callable

import numpy as np

from canalwright.heat.solid.space import Array, Space
from canalwright.heat.solid.tissue import CORTICAL, Solid


def straight(
    space: Space, length: float, step: float, bore: Callable[[Array], Array], root: Callable[[Array], Array],
    ligament: float, *, foot: bool = True, beyond: int = CORTICAL,
) -> Solid:  # fmt: skip
    """Canal of radius `bore(z)` in a root of radius `root(z)`; `foot`: root and canal end at z = 0 (else they go on)."""
    x, y, z = space.centres()
    radius = np.hypot(y[None, :, None], x[None, None, :]) + 0 * z[:, None, None]
    at = z[:, None, None]
    canal, wall = radius - bore(np.clip(at, 0, length)), radius - root(np.clip(at, 0, length))
    if foot:
        canal, wall = np.maximum(canal, -at), np.maximum(wall, -at)
    rows = max(round(length / step), 1)
    middle = (np.arange(rows) + 0.5) * step
    single = [np.asarray(v, np.float32) for v in (canal, wall, at + 0 * radius, radius)]
    angle = np.asarray(np.arctan2(y[None, :, None], x[None, None, :]) + 0 * radius, np.float32)
    return Solid(
        space, single[0], single[1], single[1], single[2], single[3], angle,
        np.full(space.shape, beyond, np.uint8), rows, length / rows, np.asarray(bore(middle)), np.zeros(3), np.eye(3), ligament,
    )  # fmt: skip
