"""Bodies with known solutions in three dimensions, solved with the solid kernels themselves."""

from typing import Any

import numpy as np

from canalwright.heat import Materials, Surroundings
from canalwright.heat import grid as grids
from canalwright.heat.solid import kernel_base as kb
from canalwright.heat.solid.kernel_stage import bound
from canalwright.heat.solid.space import Space


class Box:
    """Material (k W/(m K), capacity J/(m3 K), perfusion W/(m3 K); numbers, or by cell) in a box; its borders hold `border`, or are
    closed."""

    def __init__(
        self, space: Space, k: Any, capacity: Any, perfusion: Any = 0.0, *, closed: str = "", start: Any = 0.0,
        border: float = 0.0, tolerance: float = 0.002, latent: float = 0.0,
    ) -> None:  # fmt: skip
        self.space = space
        shape = space.shape
        n = int(np.prod(shape))
        widths = space.widths()
        g = np.zeros((5, *shape))
        volume = widths[2][:, None, None] * widths[1][None, :, None] * widths[0][None, None, :]
        g[3, 1:-1, 1:-1, 1:-1] = (1e9 / (capacity * volume))[1:-1, 1:-1, 1:-1]
        g[4] = np.where(g[3] > 0, perfusion * 1e-9 * volume, 0.0)
        for axis, name in enumerate("xyz"):
            way = 2 - axis
            low = tuple(slice(None, -1) if i == way else slice(1, -1) for i in range(3))
            others = [a for a in range(3) if a != axis]
            area = np.ones([1, 1, 1])
            for a in others:
                area = area * widths[a][1:-1].reshape([-1 if i == 2 - a else 1 for i in range(3)])
            half = (widths[axis] / 2).copy()
            half[[0, -1]] = 0.0
            half = half.reshape([-1 if i == way else 1 for i in range(3)])
            high = tuple(slice(1, None) if i == way else slice(1, -1) for i in range(3))
            each = half / (1e-3 * np.broadcast_to(k, shape))
            value = np.array(np.broadcast_to(area / (each[low] + each[high]), g[axis][low].shape))
            if name in closed:
                value[tuple(slice(None) if i != way else [0, -1] for i in range(3))] = 0.0
            g[axis][low] = value
        self.shape, self.g = shape, g
        y = np.zeros((5, n), np.float32)
        field = np.full(shape, float(border))
        field[1:-1, 1:-1, 1:-1] = np.broadcast_to(np.asarray(start, float), shape)[1:-1, 1:-1, 1:-1]
        y[:] = field.ravel()
        self.y, self.latent, self.tolerance, self.time = y, latent, tolerance, 0.0
        self.stuff = grids.stuff(Materials(), Surroundings.tissue())

    def hold(self, level: Any, temperature: float) -> "Box":
        """Cells where `level` (a distance, [z, y, x]) is negative are held; their surface is where the distance is 0."""
        level = np.asarray(level, float)
        inside = level < 0
        for axis in range(3):
            way = 2 - axis
            low = tuple(slice(None, -1) if i == way else slice(None) for i in range(3))
            high = tuple(slice(1, None) if i == way else slice(None) for i in range(3))
            a, b = level[low], level[high]
            part = np.clip(np.maximum(a, b) / np.maximum(np.abs(a - b), 1e-9), 0.1, 1.0)
            self.g[axis][low] = np.where(inside[low] != inside[high], self.g[axis][low] / part, self.g[axis][low])
        self.g[3][inside] = self.g[4][inside] = 0.0
        self.y[:, inside.ravel()] = temperature
        return self

    def to(self, time: float, fixed: float = 0.0) -> "Box":
        """March to that time."""
        from canalwright.heat.solid.kernel_march import march

        nz, ny, nx = self.shape
        plane, n = ny * nx, nz * ny * nx
        span = np.zeros((nz, 2), np.int64)
        span[1:-1, 1] = plane
        span[1:-1, 0] = nx + 1
        span[1:-1, 1] = plane - nx - 1
        g = self.g.reshape(5, n).astype(np.float32)
        field = kb.Field(nx, plane, nz, g, self.y, span, np.zeros(nz), np.zeros((4, n), np.float32))
        bound(field, 0, nz)
        live = np.flatnonzero(g[3]) if self.latent else np.zeros(0, np.int64)
        m = len(live)
        if not hasattr(self, "molten"):
            self.molten, self.excess = np.zeros(m), np.zeros((3, m))
        melt = kb.Melt(
            live, np.searchsorted(live // plane, np.arange(nz + 1)), np.zeros(m, np.int64), np.zeros(m), np.full(m, self.latent),
            self.molten, self.excess, np.zeros(nz, np.int64), np.zeros(1, np.int64),
        )  # fmt: skip
        none, empty = np.zeros(0, np.int64), np.zeros(0)
        rod = kb.Rod(
            np.zeros((6, 1)),
            np.zeros(1),
            np.zeros(1),
            np.zeros(1),
            none,
            none,
            empty,
            none,
            none,
            np.zeros(nz + 1, np.int64),
        )
        surface = kb.Surface(none, none, empty, empty, np.zeros((7, 0)))
        frames = kb.Frames(none, np.zeros((0, 0), np.float32), np.zeros((0, 0), np.float32), np.zeros((0, 6)))
        log = kb.Log(np.full((1, 5), -1e30), np.zeros(9), np.zeros(4, np.int64))
        record = np.zeros(1, kb.NOW)
        now = record[0]
        now["time"], now["end"], now["step"], now["tolerance"] = self.time, time, 1e-4, self.tolerance
        now["fixed"], now["slowest"], now["watched"], now["tool"] = fixed, 1e9, -1, -1
        march(field, melt, rod, surface, frames, self.stuff, log, record, None)
        self.time, self.log = time, log
        return self

    @property
    def t(self) -> Any:
        """Temperatures [z, y, x]."""
        return self.y[0].reshape(self.shape)
