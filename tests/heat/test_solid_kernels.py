"""Protects the solver of the solid model: its order in space and time against a manufactured solution in three dimensions, closed
forms, and the front of melting."""

import numpy as np
import pytest
from scipy.special import erf, kv

from canalwright.heat import solid
from canalwright.heat.solid.space import Space, axis, share
from tests.support.heat_box import Box

K, C, W = 0.6, 3.0e6, 3.0e4
ALPHA, LOSS = K / C * 1e6, W / C


def mode(cells: int, growth: float = 1.0, length: float = 3.0) -> tuple[Box, np.ndarray, float]:
    """sin sin sin in a perfused cube whose faces are held: it keeps its shape and decays at a known rate."""
    width = length / cells
    if growth == 1.0:
        faces = np.arange(-1, cells + 2) * width
    else:
        u = np.linspace(0, 1, cells + 1)
        inner = length * (u + growth * np.sin(2 * np.pi * u) / (2 * np.pi))
        faces = np.concatenate([[2 * inner[0] - inner[1]], inner, [2 * inner[-1] - inner[-2]]])
    space = Space(faces, faces, faces)
    wave = np.sin(np.pi * space.centres()[0] / length)
    shape = 50.0 * wave[:, None, None] * wave[None, :, None] * wave[None, None, :]
    return Box(space, K, C, W, start=shape), shape, 3 * ALPHA * (np.pi / length) ** 2 + LOSS


@pytest.mark.parametrize("growth", [1.0, -0.5])
def test_second_order_in_space(growth: float) -> None:
    errors = []
    for cells in (8, 16, 32):
        box, shape, rate = mode(cells, growth)
        box.to(2.0, fixed=0.02)
        inside = np.s_[1:-1, 1:-1, 1:-1]
        errors.append(np.abs(box.t - shape * np.exp(-rate * 2.0))[inside].max())
    rates = np.log2(np.array(errors[:-1]) / errors[1:])
    assert np.all(rates > 1.7), (errors, rates)


def test_second_order_in_time() -> None:
    found = [mode(16)[0].to(4.0, fixed=4.0 / n).t.max() for n in (2, 4, 8, 64)]
    errors = np.abs(np.array(found[:-1]) - found[-1])
    assert np.all(np.log2(errors[:-1] / errors[1:]) > 1.7), errors


def test_steady_perfused_tissue_round_a_hot_cylinder() -> None:
    """Pennes, K0: 47 deg C at r 2.5 mm; 3.5 mm: 43.82 (perfusion 0.005 1/s; closed form)."""
    k, w = 0.32, 0.005 * 1050 * 3617
    reach = np.sqrt(k / w) * 1e3
    side = axis(-4.0, 4.0, -40.0, 40.0, 0.2, 1.15, widest=3.0, most=3.0)
    space = Space(side, side, np.array([-1.0, 0.0, 1.0, 2.0]))
    x, y, z = space.centres()
    r = np.hypot(y[None, :, None], x[None, None, :]) + 0 * z[:, None, None]
    box = Box(space, k, 1908.0 * 1313.0, w, closed="z", tolerance=0.01).hold(r - 2.5, 10.0).to(2500.0)
    j = int(np.abs(y).argmin())
    ours = float(np.interp(3.5, r[1, j, len(x) // 2 :], box.t[1, j, len(x) // 2 :]))
    exact = 10.0 * kv(0, 3.5 / reach) / kv(0, 2.5 / reach)
    assert ours == pytest.approx(exact, abs=0.03)


def test_front_of_melting_by_stefan_and_neumann() -> None:
    """One phase at its melting point, a face 20 K hotter: front at 2 lambda sqrt(alpha t), lambda 0.7609 (closed form)."""
    x = np.concatenate([[-0.01], np.linspace(0, 1.2, 121), [1.22]])
    small = np.array([-1.0, 0.0, 1.0, 2.0])
    alpha, c, latent = 0.1, 940.0, 10880.0
    box = Box(Space(x, small, small), 0.2, 2.0e6, closed="yz", tolerance=0.02, latent=latent / c, start=0.0)
    s = box.stuff[0]
    s["melt_low"], s["melt_mid_low"], s["melt_mid_high"], s["melt_high"] = 0.0, 0.02, 0.03, 0.05
    s["freeze_low"], s["freeze_high"] = -0.3, -0.2
    box.y.reshape(5, 3, 3, -1)[:, :, :, 0] = 20.0
    box.g[0][:, :, -2] = 0.0
    box.to(1.0)
    front = box.molten.sum() * 0.01
    lam = 0.7609
    assert lam * np.exp(lam**2) * erf(lam) == pytest.approx(20 * c / latent / np.sqrt(np.pi), rel=1e-3)
    assert front == pytest.approx(2 * lam * np.sqrt(alpha), rel=0.02)


def test_volume_below_a_plane_is_exact_and_of_a_cylinder_nearly() -> None:
    width = np.full(20, 0.1)
    at = np.arange(20) * 0.1 - 0.95
    z, y, x = np.meshgrid(at, at, at, indexing="ij")
    normal = np.array([0.3, 0.5, 0.81])
    normal /= np.linalg.norm(normal)
    level = normal[0] * x + normal[1] * y + normal[2] * z - 0.013
    fine = (np.arange(4) - 1.5) / 40
    sub = sum(
        ((level + normal[0] * a + normal[1] * b + normal[2] * c) < 0).astype(float) for a in fine for b in fine for c in fine
    ) / 64  # fmt: skip
    assert np.abs(share(level, width, width, width) - sub).max() < 0.03
    area = share(np.hypot(x, y) - 0.43, width, width, width)[5].sum() * 0.01
    assert area == pytest.approx(np.pi * 0.43**2, rel=0.01)


def test_warm_up_compiles_and_ends() -> None:
    thread = solid.warm_up()
    thread.join(120.0)
    assert not thread.is_alive()
