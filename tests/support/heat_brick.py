"""A small problem in three dimensions for a general-purpose finite-element library: tissues in layers round a hot pin off the middle.

A box of 4 x 4 x 4 mm, dentine to x 2.6, ligament to 2.8, bone beyond, perfused; all at 37 deg C, held so outside. A square pin, x 1.2 to
2, y 1.6 to 2.4, from z 2 to the top, is held at 120 deg C for 4 s.
"""

from functools import cache
from typing import Any

import numpy as np

from canalwright.heat.solid.space import Space
from tests.support.heat_box import Box

SIDE, HOT, SECONDS = 4.0, 83.0, 4.0
PLACES = np.array([[2.6, 2.0, 3.0], [2.8, 2.0, 3.0], [1.6, 2.0, 1.4], [0.6, 2.0, 3.0], [3.2, 1.2, 2.2]])


def properties(x: Any) -> tuple[Any, Any, Any]:
    """Conductivity, capacity and perfusion at x: dentine, ligament, bone."""
    k = np.where(x < 2.6, 0.6, np.where(x < 2.8, 0.5, 0.4))
    c = np.where(x < 2.6, 2.6e6, np.where(x < 2.8, 3.8e6, 2.5e6))
    return k, c, np.where(x < 2.6, 0.0, 4.0e4)


def in_pin(x: Any, y: Any, z: Any) -> Any:
    return (x > 1.2 - 1e-9) & (x < 2 + 1e-9) & (y > 1.6 - 1e-9) & (y < 2.4 + 1e-9) & (z > 2 - 1e-9)


@cache
def ours(width: float = 0.05) -> Any:
    """Rise at the places, by the solid model's kernels."""
    from scipy.interpolate import RegularGridInterpolator

    face = np.arange(-1, round(SIDE / width) + 2) * width
    space = Space(face, face, face)
    x, y, z = space.centres()
    k, c, w = properties(x)
    box = Box(space, k, c, w, tolerance=0.01)
    zz, yy, xx = np.meshgrid(z, y, x, indexing="ij")
    pin = in_pin(xx, yy, zz)
    box.hold(np.where(pin, -1.0, 1.0), HOT)
    box.to(SECONDS)
    return RegularGridInterpolator((x, y, z), box.t.transpose(2, 1, 0))(PLACES)


@cache
def library(width: float = 0.1) -> Any:
    """The same by trilinear finite elements and the two-stage L-stable SDIRK method."""
    from scipy.sparse import diags_array
    from scipy.sparse.linalg import cg
    from skfem import Basis, BilinearForm, ElementHex1, MeshHex

    grid = np.linspace(0, SIDE, round(SIDE / width) + 1)
    mesh = MeshHex.init_tensor(grid, grid, grid)
    basis = Basis(mesh, ElementHex1())
    middle = mesh.p[:, mesh.t].mean(axis=1)[0]
    k, c, w = (np.asarray(v, float) for v in properties(middle))

    @BilinearForm
    def stiff(u: Any, v: Any, f: Any) -> Any:
        return f["k"] * sum(u.grad[i] * v.grad[i] for i in range(3))

    @BilinearForm
    def mass(u: Any, v: Any, f: Any) -> Any:
        return f["c"] * u * v

    spread = lambda a: np.repeat(a[:, None], basis.X.shape[1], axis=1)  # noqa: E731
    a = stiff.assemble(basis, k=spread(k * 1e-3)) + mass.assemble(basis, c=spread(w * 1e-9))
    m = mass.assemble(basis, c=spread(c * 1e-9))
    px, py, pz = basis.doflocs
    edge = (np.minimum.reduce([px, py, pz]) < 1e-9) | (np.maximum.reduce([px, py, pz]) > SIDE - 1e-9)
    pin = in_pin(px, py, pz)
    t = np.where(pin, HOT, 0.0)
    free = np.flatnonzero(~edge & ~pin)
    held = a[free] @ np.where(np.isin(np.arange(len(t)), free), 0.0, t)
    aa, mm = a[free][:, free], m[free][:, free]
    dt, gamma = 0.05, 1 - 1 / np.sqrt(2)
    left = (mm + gamma * dt * aa).tocsr()
    scale = diags_array(1 / left.diagonal())

    def solve(right: Any, first: Any) -> Any:
        return cg(left, right, x0=first, rtol=1e-6, M=scale)[0]

    k1 = k2 = np.zeros(len(free))
    x = t[free]
    for _ in range(round(SECONDS / dt)):
        k1 = solve(-(aa @ x) - held, k1)
        k2 = solve(-(aa @ (x + (1 - gamma) * dt * k1)) - held, k2)
        x = x + dt * ((1 - gamma) * k1 + gamma * k2)
    t[free] = x
    return basis.probes(PLACES.T) @ t


ORDER = 4 / 3
"""Both converge towards the edges of the pin with this order (edges of 270 degrees)."""
LIBRARY_COARSE = np.array([38.319, 28.545, 31.609, 30.666, 9.619])
LIBRARY_FINE = np.array([37.736, 28.092, 31.084, 30.202, 9.382])
"""`library(0.2)` and `library(0.1)`, the second taking some 16 s: `python -m tests.support.heat_brick` makes them anew."""


def extrapolated(coarse: Any, fine: Any) -> Any:
    """Richardson's extrapolation from two widths, one half the other."""
    return fine + (fine - coarse) / (2**ORDER - 1)


def difference() -> float:
    """Greatest difference between ours and the library's at the places, both extrapolated, K."""
    mine = extrapolated(ours(0.1), ours(0.05))
    return float(np.abs(mine - extrapolated(LIBRARY_COARSE, LIBRARY_FINE)).max())


if __name__ == "__main__":
    print(library(0.2).round(3), library(0.1).round(3), ours(0.1).round(3), ours(0.05).round(3))
