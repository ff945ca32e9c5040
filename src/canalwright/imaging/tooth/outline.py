"""One click in a tooth: its hard tissue, its axis, its pulp.

The bright body at the click (`body`) is the tooth. Its longest axis is the tooth's, crown where enamel is (the brighter
end), else where it is thicker. Hollows of its slices are its pulp.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_fill_holes, distance_transform_edt, gaussian_filter, label

from canalwright.imaging.readers.opened import Opened
from canalwright.imaging.refusal import refusal
from canalwright.imaging.tooth.body import SIZES, STEP, Body, body_at, settled
from canalwright.imaging.tracing.block import Block
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
__all__ = ["STEP", "Tooth", "find_tooth"]
ENAMEL = 0.35
"""Share of the contrast above dentine from which a node is enamel."""
LEAST_CAP = 8.0
"""Least volume of an enamel cap, mm3."""
BESIDE = 0.6
"""How far beside a tooth, in its ligament, a click is still meant for it, mm (our own choice)."""


@dataclass(frozen=True)
class Tooth:
    """A tooth on its own grid [z, y, x] (z towards the crown): node (x, y, z) lies at `origin + STEP * (x, y, z) @ axes`.

    `solid`: hard tissue with its hollows; `dark` 0 (dentine) to 1 (lumen); `pulp`: the hollow found; `dentine` and
    `contrast`: greys. `cej`: height (node) of the enamel's lower border, None where no enamel is seen. `notes`: doubts.
    """

    block: Block
    origin: Array
    axes: Array
    solid: Mask
    dark: Array
    pulp: Mask
    dentine: float
    contrast: float
    cej: float | None
    notes: tuple[str, ...]

    def place(self, nodes: Array) -> Array:
        """LPS points (m, 3) of nodes (m, 3) given as [z, y, x]."""
        return np.asarray(self.origin + STEP * np.asarray(nodes, float)[:, ::-1] @ self.axes)

    def corners(self) -> Array:
        """Corners (8, 3) of the tooth's own box, LPS mm."""
        nodes = np.argwhere(self.solid)
        ends = np.stack([nodes.min(0), nodes.max(0)]).astype(float)
        return self.place(np.array([[ends[b >> a & 1][a] for a in range(3)] for b in range(8)]))

    def holds(self, points: Array, part: Mask | None = None) -> Mask:
        """Whether LPS points (m, 3) lie in the solid tooth, or in a `part` of it given as a mask on its grid."""
        nodes = np.round((np.asarray(points) - self.origin) @ self.axes.T / STEP).astype(int)
        inside = np.all((nodes >= 0) & (nodes < np.array(self.solid.shape[::-1])), axis=1)
        x, y, z = np.where(inside[:, None], nodes, 0).T
        return np.asarray((self.solid if part is None else part)[z, y, x] & inside)

    def darkness(self, points: Array) -> Array:
        """0 (dentine) to 1 (lumen) at LPS points (..., 3), at the scan's own resolution."""
        return np.asarray(np.clip((self.dentine - self.block.sample(points)) / self.contrast, -0.2, 1.0))

    @property
    def crown(self) -> Array:
        """Unit direction from root to crown."""
        return np.asarray(self.axes[2])


def find_tooth(scan: Scan | Opened, click: Array) -> Tooth:
    """The tooth at `click` (LPS mm). Raises ScanError when there is none there, or none that stands alone.

    What is looked at is a cube about the click; a tooth that reaches out of it, as when its cusp is clicked, is looked for
    once more about its own middle.
    """
    click = np.asarray(click, float)
    body = body_at(scan, click, click)
    if body.out:
        middle = body.grid[body.mask].mean(axis=0)
        again = body_at(scan, click, middle) if scan.holds(middle) else body
        body = body if again.out else again
    if not SIZES[0] <= body.length <= SIZES[1]:
        raise refusal(
            scan.path or "scan in memory", f"the bright body at the point is {body.length:.1f} mm long",
            allowed=f"{SIZES[0]:.0f} to {SIZES[1]:.0f} mm", remedy="click inside one tooth",
        )  # fmt: skip
    tooth = _upright(settled(scan, body), scan.path or "scan in memory")
    away = float(np.linalg.norm(tooth.place(np.argwhere(tooth.solid).astype(float)) - click, axis=1).min())
    if away > BESIDE:
        raise refusal(
            scan.path or "scan in memory", f"the point is in no tooth: the nearest one is {away:.1f} mm away",
            remedy="click inside the tooth",
        )  # fmt: skip
    return tooth


def _upright(body: Body, where: str) -> Tooth:
    """The tooth sampled anew along its own axes, its hollows filled, its pulp found."""
    block, grid, tooth, axes = body.block, body.grid, body.mask, body.axes
    dentine, contrast, noise = body.tones
    points = grid[tooth]
    low = (points @ axes.T).min(0) - 1.0
    high = (points @ axes.T).max(0) + 1.0
    size = np.ceil((high - low) / STEP).astype(int) + 1
    z, y, x = np.meshgrid(*(STEP * np.arange(n) for n in size[::-1]), indexing="ij")
    nodes = (np.stack([x, y, z], axis=-1) + low) @ axes
    index = np.round((nodes - grid[0, 0, 0]) / STEP).astype(int)
    good = np.all((index >= 0) & (index < np.array(tooth.shape[::-1])), axis=-1)
    i, j, k = np.where(good[..., None], index, 0).transpose(3, 0, 1, 2)
    hard = tooth[k, j, i] & good
    grey = gaussian_filter(block.sample(nodes, smooth=False), 0.5, mode="nearest")
    solid = np.array([binary_fill_holes(one) for one in hard])
    core = distance_transform_edt(solid, sampling=STEP) > 0.4
    dark = np.clip((dentine - grey) / contrast, 0, 1)
    level = max(0.25, 5 * noise / contrast)
    names, _ = label((dark > level) & core, np.ones((3, 3, 3)))
    sizes = np.bincount(names.ravel())
    sizes[0] = 0
    pulp = np.isin(names, np.nonzero(sizes >= max(0.02 * sizes.max(), 0.3 / STEP**3))[0])
    if not pulp.any():
        raise refusal(
            where,
            "no pulp found in the tooth at the point",
            remedy="click in the dentine of its root, not in enamel, or give orifice and terminus by hand",
        )
    return Tooth(
        block,
        low @ axes,
        axes,
        solid,
        dark,
        pulp,
        dentine,
        contrast,
        _cej(grey > dentine + ENAMEL * contrast, solid),
        body.notes,
    )


def _cej(enamel: Mask, solid: Mask) -> float | None:
    """Height below which a twentieth of the enamel lies, when there is a cap of it."""
    names, count = label(enamel & solid, np.ones((3, 3, 3)))
    if count == 0:
        return None
    cap = names == 1 + int(np.argmax(np.bincount(names.ravel())[1:]))
    if cap.sum() * STEP**3 < LEAST_CAP:
        return None
    return float(np.quantile(np.argwhere(cap)[:, 0], 0.05))
