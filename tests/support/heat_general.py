"""The reference problem in general-purpose libraries, for comparison: scikit-fem, and SciPy's sparse direct solver.

Both step with the two-stage, second-order, L-stable SDIRK method (gamma = 1 - 1/sqrt 2), and factorise once per step size.
"""

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.linalg import splu

from canalwright.heat.reference import (
    BELOW,
    CARRIER,
    END,
    EVERY,
    HOT,
    LENGTH,
    LIGAMENT,
    ON,
    OUTER,
    ROOT,
    TIP,
    materials,
)  # fmt: skip

Array = NDArray[np.float64]
GAMMA = 1.0 - 1.0 / np.sqrt(2.0)
STEPS = ((0.01, 0.1), (0.05, 0.5), (0.1, ON), (0.01, ON + 0.1), (0.05, ON + 1.0), (0.25, 12.0), (0.5, END))
"""Step sizes, each up to its time: small after each switch."""


def properties(r: Array, z: Array) -> tuple[Array, Array, Array]:
    """Conductivity W/(mm K), capacity J/(mm3 K), blood W/(mm3 K) at points."""
    m = materials()
    blood = m.bone_perfusion * m.blood_capacity * 1e-9
    where = np.select([r < 0.2 + 0.55 * z / LENGTH, r < ROOT, r < LIGAMENT], [0, 1, 2], 3)
    k = np.array([m.gp_conductivity, m.dentine_conductivity, m.ligament_conductivity, m.bone_conductivity]) * 1e-3
    c = np.array([m.gp_capacity, m.dentine_capacity, m.ligament_capacity, m.bone_capacity]) * 1e-9
    return k[where], c[where], np.array([0.0, 0.0, blood, blood])[where]


def axes(fine: float) -> tuple[Array, Array]:
    """Mesh lines in r and z, graded to the carrier; `fine` mm beside it."""
    r = [0.0]
    for end, width in ((0.8, 2 * fine), (ROOT, 4 * fine), (LIGAMENT, 4 * fine), (OUTER, 14 * fine)):
        r += list(np.linspace(r[-1], end, max(round((end - r[-1]) / width), 2) + 1)[1:])
    first = np.linspace(0, CARRIER, max(round(CARRIER / fine / 2), 3) + 1)
    r = list(first) + [x for x in r if x > CARRIER + fine]
    down = [0.0]
    while down[-1] < TIP:
        down.append(down[-1] + min(max(fine, 0.15 * down[-1]), 10 * fine))
    down = np.asarray(down) * (TIP / down[-1])
    up = np.asarray(down)[1:] * ((LENGTH - TIP) / TIP)
    return np.asarray(r), np.concatenate([TIP - down[::-1], TIP + up])


def scikit_fem(fine: float = 0.08) -> tuple[Array, Array, Array]:
    """Bilinear elements; returns time, greatest surface temperature, axis 1 to 5 mm below the tip."""
    import skfem
    from skfem.helpers import dot, grad

    r, z = axes(fine)
    mesh = skfem.MeshQuad.init_tensor(r, z)
    middle = mesh.p[:, mesh.t].mean(axis=1)
    mesh = mesh.remove_elements(np.nonzero((middle[0] < CARRIER) & (middle[1] > TIP))[0])
    basis = skfem.Basis(mesh, skfem.ElementQuad1(), intorder=3)

    @skfem.BilinearForm
    def stiffness(u, v, w):  # type: ignore[no-untyped-def]
        k, _, b = properties(w.x[0], w.x[1])
        return (k * dot(grad(u), grad(v)) + b * u * v) * w.x[0]

    @skfem.BilinearForm
    def mass(u, v, w):  # type: ignore[no-untyped-def]
        return properties(w.x[0], w.x[1])[1] * u * v * w.x[0]

    film = materials().top_film * 1e-6
    top = skfem.FacetBasis(
        mesh, skfem.ElementQuad1(), facets=mesh.facets_satisfying(lambda x: x[1] > LENGTH - 1e-9, True)
    )

    @skfem.BilinearForm
    def out(u, v, w):  # type: ignore[no-untyped-def]
        return film * u * v * w.x[0]

    @skfem.LinearForm
    def into(v, w):  # type: ignore[no-untyped-def]
        return film * (25.0 - 37.0) * v * w.x[0]

    k, m, f = (stiffness.assemble(basis) + out.assemble(top)).tocsc(), mass.assemble(basis).tocsc(), into.assemble(top)
    x, y = mesh.p
    edge = (y < 1e-9) | (x > OUTER - 1e-9)
    carrier = ((np.abs(y - TIP) < 1e-9) & (x < CARRIER + 1e-9)) | ((np.abs(x - CARRIER) < 1e-9) & (y > TIP - 1e-9))
    probe = basis.probes(np.array([[1e-9] * len(BELOW), [TIP - b for b in BELOW]]))
    return _march(k, m, f, edge, carrier, np.abs(x - ROOT) < 1e-9, probe)


def scipy_direct(fine: float = 0.08) -> tuple[Array, Array, Array]:
    """Finite volumes on the same lines (cells between them), SciPy's sparse LU."""
    r, z = axes(fine)
    k, m, f, held, carrier, column, probe = _volumes(r, z)
    return _march(k, m, f, held, carrier, column, probe)


def _volumes(r: Array, z: Array):  # type: ignore[no-untyped-def]
    """Vertex-centred volumes on a tensor grid; nodes inside the carrier belong to it."""
    nr, nz = len(r), len(z)
    rf = np.concatenate([[0.0], (r[1:] + r[:-1]) / 2, [r[-1]]])
    zf = np.concatenate([[0.0], (z[1:] + z[:-1]) / 2, [z[-1]]])
    area = np.pi * (rf[1:] ** 2 - rf[:-1] ** 2)
    rr, zz = np.meshgrid(r, z)
    quarter = [(a, b) for a in (-1, 1) for b in (-1, 1)]
    capacity, blood = np.zeros((nz, nr)), np.zeros((nz, nr))
    for a, b in quarter:
        edge_r, edge_z = (rf[:-1] if a < 0 else rf[1:]), (zf[:-1] if b < 0 else zf[1:])
        part = np.abs(edge_z - z)[:, None] * (np.pi * np.abs(edge_r**2 - r**2))[None, :]
        _, c, w = properties((r + edge_r)[None, :] / 2 + 0 * zz, (z + edge_z)[:, None] / 2 + 0 * rr)
        solid = ~(((r + edge_r)[None, :] / 2 < CARRIER) & ((z + edge_z)[:, None] / 2 > TIP))
        capacity += part * c * solid
        blood += part * w * solid
    n = nr * nz
    index = np.arange(n).reshape(nz, nr)
    rows, cols, values = [], [], []

    def join(i, j, g):  # type: ignore[no-untyped-def]
        rows.extend([i, j, i, j])
        cols.extend([i, j, j, i])
        values.extend([g, g, -g, -g])

    mid = (r[1:] + r[:-1]) / 2
    g_r = np.zeros((nz, nr - 1))
    for b in (-1, 1):
        edge = zf[:-1] if b < 0 else zf[1:]
        k, _, _ = properties(mid[None, :] + 0 * zz[:, 1:], (z + edge)[:, None] / 2 + 0 * rr[:, 1:])
        solid = ~((mid[None, :] < CARRIER) & ((z + edge)[:, None] / 2 > TIP))
        g_r += 2 * np.pi * mid / np.diff(r) * k * solid * np.abs(edge - z)[:, None]
    g_z = np.zeros((nz - 1, nr))
    level = (z[1:] + z[:-1]) / 2
    for a in (-1, 1):
        edge = rf[:-1] if a < 0 else rf[1:]
        k, _, _ = properties((r + edge)[None, :] / 2 + 0 * rr[1:], level[:, None] + 0 * zz[1:])
        solid = ~(((r + edge)[None, :] / 2 < CARRIER) & (level[:, None] > TIP))
        g_z += k * solid * (np.pi * np.abs(edge**2 - r**2))[None, :] / np.diff(z)[:, None]
    join(index[:, :-1].ravel(), index[:, 1:].ravel(), g_r.ravel())
    join(index[:-1].ravel(), index[1:].ravel(), g_z.ravel())
    film = np.zeros((nz, nr))
    film[-1] = materials().top_film * 1e-6 * np.where(r >= CARRIER, area, 0.0)
    k = sp.coo_matrix((np.concatenate(values), (np.concatenate(rows), np.concatenate(cols))), shape=(n, n)).tocsc()
    k = k + sp.diags((blood + film).ravel())
    inside = ((rr < CARRIER - 1e-9) & (zz > TIP + 1e-9)).ravel()
    carrier = ((rr <= CARRIER + 1e-9) & (zz >= TIP - 1e-9)).ravel()
    held = ((zz < 1e-9) | (rr > OUTER - 1e-9)).ravel() | inside
    probe = sp.lil_matrix((len(BELOW), n))
    for row, b in enumerate(BELOW):
        low = min(max(int(np.searchsorted(z, TIP - b)) - 2, 0), nz - 4)
        near = z[low : low + 4]
        for i in range(4):
            others = np.delete(near, i)
            probe[row, index[low + i, 0]] = np.prod((TIP - b - others) / (near[i] - others))
    return k.tocsc(), sp.diags(capacity.ravel()).tocsc(), -12.0 * film.ravel(), held, carrier & ~inside, (
        np.abs(rr - ROOT) < 1e-9
    ).ravel(), probe.tocsr()  # fmt: skip


def _march(k, m, f, held, carrier, column, probe):  # type: ignore[no-untyped-def]
    """SDIRK2 from 37 deg C: the carrier held at 200 until it is switched off, insulated then."""
    u = np.zeros(k.shape[0])
    time = EVERY * (1 + np.arange(round(END / EVERY)))
    surface, axis, times = [], [], []
    now, solver, key = 0.0, None, None
    u[carrier] = HOT - 37.0
    fixed = held | carrier
    for dt, until in STEPS:
        while now < until - 1e-9:
            if now > ON - 1e-9:
                fixed = held
            free = np.nonzero(~fixed)[0]
            if key != (dt, fixed.sum()):
                kf, mf = k[free][:, free].tocsc(), m[free][:, free].tocsc()
                load = (f - k @ np.where(fixed, u, 0.0))[free]
                solver, key = splu((mf + GAMMA * dt * kf).tocsc()), (dt, fixed.sum())
            k1 = solver.solve(load - kf @ u[free])
            k2 = solver.solve(load - kf @ (u[free] + (1 - GAMMA) * dt * k1))
            u[free] += dt * ((1 - GAMMA) * k1 + GAMMA * k2)
            now += dt
            times.append(now)
            surface.append(u[column])
            axis.append(probe @ u)
    surface, axis, times = np.array(surface), np.array(axis), np.array(times)
    at = np.clip(np.searchsorted(times, time - 1e-6), 0, len(times) - 1)
    return time, surface[at].max(axis=1) + 37.0, axis[at] + 37.0
