"""Bodies with known solutions, solved with the heat kernels themselves: rods, hollow cylinders, tissue round a hot rod."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from canalwright.heat import Materials, Surroundings
from canalwright.heat import grid as grids
from canalwright.heat.layout import AXIAL, FILLED, INVERSE, NOW, Cells, Grid, Tools
from canalwright.heat.simulation import new_log

Array = NDArray[np.float64]
FIRM = 1e12
"""A film so good that the surface takes the temperature outside, W/(m2 K)."""


def alike(conductivity: float, capacity: float, **more: float) -> Materials:
    """Gutta-percha and dentine of one and the same property, without latent heat, blood, films."""
    same = {
        "gp_conductivity": conductivity, "gp_capacity": capacity, "gp_latent": 0.0, "sealer_resistance": 0.0,
        "dentine_conductivity": conductivity, "dentine_capacity": capacity, "ligament_conductivity": conductivity,
        "ligament_capacity": capacity, "ligament_perfusion": 0.0, "bone_conductivity": conductivity, "bone_capacity": capacity,
        "bone_perfusion": 0.0, "top_film": 0.0, "contact_conductance": FIRM,
    }  # fmt: skip
    return replace(Materials(), **{**same, **more})


class Body:
    """A round body of equal rows: canal to `bore`, dentine to `root`, in tissue a ligament of no thickness and bone to `outer`."""

    def __init__(
        self, materials: Materials, surroundings: Surroundings, *, bore: float, root: float, outer: float = 0.0,
        radial: float = 0.1, growth: float = 1.0, rows: int = 3, height: float = 1.0, start: float = 37.0,
        widest: float = 1e9,
    ) -> None:  # fmt: skip
        tissue = surroundings.film_conductance is None
        end = outer if tissue else root
        face = [0.0]
        width = radial
        while face[-1] < end - 1e-9:
            face.append(min(face[-1] + width, end))
            if face[-1] >= bore:
                width = min(width * growth, widest)
        if len(face) > 2 and face[-1] - face[-2] < 0.5 * (face[-2] - face[-3]):
            del face[-2]
        faces = np.array([*face, end + radial])
        node = np.sqrt((faces[1:] ** 2 + faces[:-1] ** 2) / 2)
        node[-1] = end * (1 if tissue else 1.0001)
        n = rows + 2
        centre = (np.arange(n) - 0.5) * height
        row = np.vstack([np.full(n, height), centre, np.full(n, bore), np.full(n, root), np.full(n, root)])
        begin = np.full((n, len(node)), start - 37.0)
        begin[:, -1] = (37.0 if tissue else surroundings.temperature) - 37.0
        inner = min(int(np.searchsorted(faces, bore)) + 1, len(node) - 1)
        column = np.vstack([faces, np.append(node, faces[-1])])
        self.grid = Grid(len(node), n, 1, n - 1, inner, n - 2, 1, height, column, row, begin)
        self.stuff = grids.stuff(materials, surroundings)
        self.cells: Cells = grids.cells(self.grid, FILLED)
        self.tools = Tools(
            np.full((1, n - 2), 0.5), np.zeros((1, n - 2)), np.array([[1.0, -1.0]]), np.zeros((1, 2), dtype=np.int64)
        )
        self.state = np.zeros(1, NOW)
        self.state["step"], self.state["tolerance"], self.state["until"] = 1e-4, 0.01, 1e9
        self.state["tool"], self.state["tip"], self.state["top"], self.state["watched"] = -1, n - 1, n - 1, -1
        self.log = new_log(self.grid, 1, 0)
        from canalwright.heat.kernel_acts import start as begin_cells

        begin_cells(self.grid, self.stuff[0], self.cells)
        self._close_foot()

    def hold(self, radius: float, temperature: float) -> "Body":
        """A rod of that radius on the axis, held at that temperature from now on."""
        from canalwright.heat.kernel_matter import insert, shape

        g, c, now = self.grid, self.cells, self.state[0]
        self.tools.radius[:] = radius
        insert(g, self.stuff[0], c, self.tools, now, 0, g.first)
        n = g.nr * g.nz
        c.field[INVERSE, n:] = 0.0
        c.t[n:] = temperature - 37.0
        shape(g, self.stuff[0], c, self.tools, now, g.first)
        self._close_foot()
        return self

    def _close_foot(self) -> None:
        self.cells.field[AXIAL, : self.grid.nr] = 0.0

    def foot(self, temperature: float) -> "Body":
        """The foot is held at that temperature from now on."""
        g = self.grid
        self.cells.t[: g.nr - 1] = temperature - 37.0
        self.cells.field[AXIAL, : g.nr - 1] = self.cells.field[8, g.nr : 2 * g.nr - 1] / (g.step / 2)
        return self

    def to(self, time: float) -> "Body":
        """March to that time."""
        from canalwright.heat.kernel_march import march

        self.state["end"] = time
        march(self.grid, self.stuff[0], self.cells, self.tools, self.log, self.state[0])
        return self

    @property
    def t(self) -> Array:
        """(rows, columns) temperatures of the cells of the body, deg C."""
        g = self.grid
        return self.cells.t[: g.nr * g.nz].reshape(g.nz, g.nr)[g.first : g.last] + 37.0

    def at(self, radius: float, row: int = 0) -> float:
        """Temperature at a radius: cubic in ln r between the nodes (quadratic in r near the axis)."""
        from scipy.interpolate import CubicSpline

        g = self.grid
        covered = self.cells.mark[1, g.first]
        node, t = g.column[1, covered : g.nr], self.t[row, covered:]
        if covered == 0:
            return float(CubicSpline(node**2, t)(radius**2))
        return float(CubicSpline(np.log(node), t)(np.log(radius)))

    @property
    def outside(self) -> float:
        """Temperature of the root surface, deg C."""
        from canalwright.heat.kernel_log import surface

        return float(surface(self.grid, self.cells, self.grid.first)) + 37.0

    @property
    def axis(self) -> float:
        """Temperature on the axis, extrapolated from the two inner nodes, deg C."""
        r0, r1 = self.grid.column[1, 0] ** 2, self.grid.column[1, 1] ** 2
        t0, t1 = self.t[0, 0], self.t[0, 1]
        return float(t0 + (t0 - t1) * r0 / (r1 - r0))

    def along_axis(self, z: float) -> float:
        """Temperature on the axis at height `z`, cubic between the rows, deg C."""
        from scipy.interpolate import CubicSpline

        r0, r1 = self.grid.column[1, 0] ** 2, self.grid.column[1, 1] ** 2
        t = self.t[:, 0] + (self.t[:, 0] - self.t[:, 1]) * r0 / (r1 - r0)
        return float(CubicSpline(self.grid.row[1, 1:-1], t)(z))

    @property
    def molten(self) -> float:
        """Sum of the molten fractions on the axis, in rows."""
        g = self.grid
        return float(self.cells.field[0, : g.nr * g.nz].reshape(g.nz, g.nr)[g.first : g.last, 0].sum())
