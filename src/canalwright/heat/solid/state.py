"""What is in the canal while a protocol runs: gutta-percha, sealer, air, an instrument; and the temperatures of it all.

The counterpart of the (r, z) model's kernels of cells and matter, on rows along the canal. Cells keep temperature and
molten fraction when their content changes; new matter mixes in by enthalpy.
"""

from typing import Any

import numpy as np

from canalwright.heat.layout import EMPTY, FILLED
from canalwright.heat.solid.conduct import LEAST_COSINE, Fixed
from canalwright.heat.solid.kernel_base import INVERSE, Y0, Field, Melt, Rod
from canalwright.heat.solid.kernel_stage import bound
from canalwright.heat.solid.space import Array
from canalwright.heat.solid.tissue import Solid

FIT = 0.98
"""An instrument never takes more of the canal's radius than this."""
LEAST_GAP = 0.1
"""A cell's centre counts as at least this share of the way from an instrument's surface."""


class State:
    """Fields and lists that the kernels advance, and what changes them between two marches."""

    def __init__(self, solid: Solid, fixed: Fixed, stuff: Any, nodes: int, span: int) -> None:
        self.solid, self.fixed, self.s = solid, fixed, stuff
        self.nodes, self.span = nodes, span
        nz, ny, nx = solid.space.shape
        n = nz * ny * nx
        self.field = Field(
            nx, nx * ny, nz, fixed.g.copy(), np.zeros((5, n), np.float32), _spans(fixed.g[INVERSE], nz, nx * ny),
            np.zeros(nz), np.zeros((4, n), np.float32),
        )  # fmt: skip
        self.field.dose[0] = -1e30
        cells = fixed.cells
        m = len(cells)
        if m == 0:
            raise ValueError("no cell lies in the canal: the voxels are too coarse; take a smaller voxel")
        self.row = np.clip(np.floor(solid.station.ravel()[cells] / solid.step).astype(np.int64), 0, solid.rows - 1)
        self.beside = np.maximum(solid.radius.ravel()[cells].astype(float), 0.0)
        self.along = solid.station.ravel()[cells].astype(float)
        self.layer = cells // (nx * ny)
        self.place = np.full(n, -1, dtype=np.int64)
        self.place[cells] = np.arange(m)
        self.order = np.argsort(self.row, kind="stable")
        self.row_start = np.searchsorted(self.row[self.order], np.arange(solid.rows + 1))
        self.melt = Melt(
            cells, np.searchsorted(self.layer, np.arange(nz + 1)), self.row, np.zeros(m), np.zeros(m), np.zeros(m),
            np.zeros((3, m)), np.zeros(nz, np.int64), self._axis_cells(),
        )  # fmt: skip
        self.content = np.full(solid.rows, EMPTY)
        self.covered = np.zeros(m, bool)
        self.rod = self.no_rod()
        self.wall_row = self._rows_of_walls()
        self._sort_walls()

    @property
    def t(self) -> Any:
        """(n,) temperatures, K above body temperature."""
        return self.field.y[Y0]

    @property
    def grid_shape(self) -> tuple[int, int, int]:
        """Cells along z, y, x."""
        return self.solid.space.shape

    def cells_of(self, low: int, high: int) -> Any:
        """Canal cells (positions in the list) of rows low..high - 1."""
        return self.order[self.row_start[max(low, 0)] : self.row_start[min(max(high, low), self.solid.rows)]]

    def set_rows(self, low: int, high: int, shaft: Array | None = None, tip: int = 0) -> None:
        """Capacity, latent heat and conductances of rows low..high - 1 after their content or the instrument changed.

        `shaft` (rows,): radius of the instrument by row, 0 where there is none; `tip`: its tip's row.
        """
        k = self.cells_of(low, high)
        kind = self.content[self.row[k]]
        s, f = self.s, self.fixed
        c_in = np.where(kind == FILLED, s["c_gp"], np.where(kind == EMPTY, s["c_air"], s["c_sealer"]))
        own = f.share[k] * f.volume[k] * c_in
        capacity = f.rest[k] + own
        if shaft is not None:
            self.covered[k] = self._depth(k, shaft, tip) < 0
        else:
            self.covered[k] = False
        covered = self.covered[k]
        self.field.g[INVERSE, f.cells[k]] = np.where(covered, 0.0, 1.0 / capacity)
        filled = (kind == FILLED) & ~covered
        self.melt.weight[k] = np.where(filled, own, 0.0)
        self.melt.latent[k] = np.where(filled, f.share[k] * f.volume[k] * s["latent"] / capacity, 0.0)
        self._conduct(low, high, shaft, tip)
        self._renew(low, high)

    def _depth(self, k: Any, shaft: Array, tip: int) -> Array:
        """Distance of canal cells `k` from the surface of the instrument, negative inside."""
        r = np.interp(self.along[k], (np.arange(self.solid.rows) + 0.5) * self.solid.step, shaft)
        inside = self.fixed.share[k] > 0.5
        return np.asarray(np.where(inside, np.maximum(self.beside[k] - r, tip * self.solid.step - self.along[k]), 1.0))

    def _conduct(self, low: int, high: int, shaft: Array | None, tip: int) -> None:
        """Conductances through the canal of rows low - 1..high, and what the instrument touches."""
        w, s = self.fixed.walls, self.s
        i = self._wall_order[self._wall_start[max(low - 2, 0)] : self._wall_start[min(high + 2, self.solid.rows)]]
        a, b = self.place[w.a[i]], self.place[w.b[i]]
        row_a = self.row[np.where(a >= 0, a, b)]
        row_b = self.row[np.where(b >= 0, b, a)]
        k_of = np.array([s["k_air"], s["k_gp"], s["k_sealer"]])
        kind_a, kind_b = self.content[row_a], self.content[row_b]
        per_a, per_b = 1 / k_of[kind_a], 1 / k_of[kind_b]
        per = np.where(w.first[i] & w.second[i], (per_a + per_b) / 2, np.where(w.first[i], per_a, per_b))
        dry = np.where(w.first[i], kind_a, kind_b) == EMPTY
        film = np.where(dry, 0.0, w.film[i] * s["film"])
        g = w.size[i] / (w.fixed[i] + film + w.inside[i] * per)
        cover_a = (a >= 0) & self.covered[a]
        cover_b = (b >= 0) & self.covered[b]
        if shaft is not None:
            touch = cover_a != cover_b
            g[cover_a & cover_b] = 0.0
            j = np.flatnonzero(touch)
            free, under = np.where(cover_a[j], b[j], a[j]), np.where(cover_a[j], a[j], b[j])
            depth = self._depth(under, shaft, tip)
            clear = np.where(free >= 0, self._depth(np.maximum(free, 0), shaft, tip), 1.0)
            clear = np.where((free < 0) | (clear >= 1.0), self._clear_outside(i[j], free, shaft), clear)
            part = np.clip(clear / np.maximum(clear - depth, 1e-9), LEAST_GAP, 1.0)
            hidden = (1 - part) * w.gap[i[j]]
            inside = np.maximum(w.inside[i[j]] - hidden, 0.02 * w.gap[i[j]])
            cosine = np.clip((clear - depth) / w.gap[i[j]], LEAST_COSINE, 1.0)
            kind = np.where(cover_a[j], kind_b[j], kind_a[j])
            per_free = np.where(cover_a[j], per_b[j], per_a[j])
            contact = np.where(kind == EMPTY, 0.0, 1.0 / max(float(s["contact"]), 1e-30)) / cosine
            g[j] = w.size[i[j]] / (w.fixed[i[j]] + film[j] + inside * per_free + contact)
        g3 = self.field.g
        for axis in range(3):
            these = w.axis[i] == axis
            g3[axis, w.a[i[these]]] = g[these]

    def _clear_outside(self, faces: Any, free: Any, shaft: Array) -> Array:
        """Distance from the instrument of the free end of faces, measured from the axis, for cells in dentine."""
        w = self.fixed.walls
        ends = np.where((free >= 0)[:, None], self.fixed.cells[np.maximum(free, 0)][:, None], -1)[:, 0]
        ends = np.where(
            ends >= 0, ends, np.where(self.covered[np.maximum(self.place[w.a[faces]], 0)], w.b[faces], w.a[faces])
        )
        station, radius = self.solid.station.ravel()[ends], self.solid.radius.ravel()[ends]
        r = np.interp(station, (np.arange(self.solid.rows) + 0.5) * self.solid.step, shaft)
        return np.asarray(np.maximum(radius - r, 1e-3))

    def _renew(self, low: int, high: int) -> None:
        """Bounds of the fastest rate of the layers that rows low - 1..high touch."""
        k = self.cells_of(low - 2, high + 2)
        if len(k):
            bound(self.field, int(self.layer[k].min()) - 1, int(self.layer[k].max()) + 2)

    def _axis_cells(self) -> Any:
        found = np.zeros(self.solid.rows, dtype=np.int64)
        centre = (np.arange(self.solid.rows) + 0.5) * self.solid.step
        for j in range(self.solid.rows):
            k = self.cells_of(j, j + 1)
            if len(k) == 0:
                k = np.arange(len(self.row))
            away = self.beside[k] + 2 * np.abs(self.along[k] - centre[j])
            found[j] = self.fixed.cells[k[int(np.argmin(away))]]
        return found

    def _rows_of_walls(self) -> Any:
        w = self.fixed.walls
        a, b = self.place[w.a], self.place[w.b]
        return self.row[np.where(a >= 0, a, np.maximum(b, 0))]

    def _sort_walls(self) -> None:
        self._wall_order = np.argsort(self.wall_row, kind="stable")
        self._wall_start = np.searchsorted(self.wall_row[self._wall_order], np.arange(self.solid.rows + 1))

    def no_rod(self) -> Rod:
        """No instrument in the canal."""
        empty, none = np.zeros(0), np.zeros(0, np.int64)
        return Rod(
            np.zeros((6, self.nodes)), np.zeros(self.nodes), np.zeros(self.nodes), np.zeros(self.nodes), none, none, empty,
            none, none, np.zeros(self.field.nz + 1, np.int64),
        )  # fmt: skip


def _spans(inverse: Any, nz: int, plane: int) -> Any:
    """First and one past the last cell of each layer that can change."""
    out = np.zeros((nz, 2), np.int64)
    for z in range(nz):
        live = np.flatnonzero(inverse[z * plane : (z + 1) * plane])
        if len(live):
            out[z] = live[0], live[-1] + 1
    return out
