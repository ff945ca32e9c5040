"""From places in a canal to places on paper.

A place is a station `z` and an offset `across` the canal (mm, positive to the right of someone who looks at the
drawing of a lower tooth). The straightened frame lays depth along the page; the projected frame looks at right
angles to the plane of greatest curvature.
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Array, Lumen

APEX_ROUND = 0.7


@dataclass(frozen=True)
class Frame:
    """Centreline on the page and how to get there.

    `z` (n,) ascending; `line` (n, 2) centreline in canal mm: across, depth; `normal` (n, 2) unit, to the right;
    `turn` (n, 2) of the 3-D normal against the lumen's axes is kept as `share`, the squared cosine between the
    drawing plane's normal to the centreline and the direction of the greatest width, shape (n,).
    `scale` is paper mm for a canal mm; `widen` the extra factor across. `up` puts the apex at the top.
    """

    z: Array
    line: Array
    normal: Array
    share: Array
    scale: float
    widen: float = 1.0
    up: bool = False
    x0: float = 0.0
    y0: float = 0.0

    @classmethod
    def straightened(cls, canal: Canal, *, scale: float, widen: float = 1.0) -> Self:
        """Depth along the page; widths are the least widths."""
        length = canal.length.value
        z = np.array([min(0.0, float(canal.native.z[0])) - 3.0, length])
        line = np.column_stack([np.zeros(2), length - z])
        normal = np.tile([1.0, 0.0], (2, 1))
        return cls(z, line, normal, np.zeros(2), scale, widen, canal.tooth.upper)

    @classmethod
    def projected(cls, canal: Canal, *, scale: float) -> Self:
        """Seen at right angles to the plane in which the canal departs most from its coronal direction."""
        lumen, length = canal.native, canal.length.value
        z, centre = lumen.z, lumen.centre - lumen.centre[-1]
        upper = z >= z[-1] - 2.0
        tangent = centre[-1] - centre[upper][0] if upper.sum() > 1 else np.array([0.0, 0.0, 1.0])
        tangent = tangent / np.linalg.norm(tangent)
        side = centre - np.outer(centre @ tangent, tangent)
        across = np.linalg.svd(side, full_matrices=False)[2][0]
        across = across - (across @ tangent) * tangent
        across = across / np.linalg.norm(across) * (1.0 if side[0] @ across >= 0 else -1.0)
        line = np.column_stack([centre @ across, length - z[-1] - centre @ tangent])
        slope = np.gradient(line, z, axis=0)
        slope = slope / np.linalg.norm(slope, axis=1, keepdims=True)
        normal = np.column_stack([-slope[:, 1], slope[:, 0]])
        share = (np.outer(normal[:, 0], across) - np.outer(normal[:, 1], tangent)) * lumen.axis
        ends = np.array([z[0] - 3.0, max(length, z[-1] + 0.1)])
        z = np.concatenate([ends[:1], z, ends[1:]])
        line = np.vstack([line[0] - 3.0 * slope[0], line, line[-1] + (ends[1] - lumen.z[-1]) * slope[-1]])
        normal, cosine = (np.concatenate([a[:1], a, a[-1:]]) for a in (normal, share.sum(axis=1)))
        return cls(z, line, normal, np.clip(cosine**2, 0, 1), scale, 1.0, canal.tooth.upper)

    def __call__(self, z: ArrayLike, across: ArrayLike = 0.0) -> Array:
        """Places on paper [mm], shape (n, 2), of stations `z` and offsets `across`, both shape (n,) or single."""
        z, across = np.broadcast_arrays(np.atleast_1d(np.asarray(z, float)), np.asarray(across, float))
        line = np.column_stack([np.interp(z, self.z, self.line[:, i]) for i in (0, 1)])
        normal = np.column_stack([np.interp(z, self.z, self.normal[:, i]) for i in (0, 1)])
        normal = normal / np.linalg.norm(normal, axis=1, keepdims=True)
        flat = line + normal * across[:, None]
        x = self.x0 + flat[:, 0] * self.scale * self.widen
        y = self.y0 + flat[:, 1] * self.scale * (-1.0 if self.up else 1.0)
        return np.column_stack([x, y])

    def half_width(self, lumen: Lumen) -> Array:
        """Half the width of a lumen as this drawing shows it, shape (n,): least width, or the width in the plane."""
        share = np.interp(lumen.z, self.z, self.share)
        return 0.5 * np.sqrt(lumen.minor**2 * (1 - share) + lumen.major**2 * share)


def root_half_width(lumen: Lumen, half: Array) -> Array:
    """Half width of the root outline: lumen and wall, rounded over the last 0.7 mm for the eye only."""
    cap = np.sqrt(np.clip(1 - (1 - np.clip(lumen.z / APEX_ROUND, 0, 1)) ** 2, 0, 1))
    return np.maximum((half + lumen.wall) * cap, half + 0.04)


def band(frame: Frame, z: Array, left: ArrayLike, right: ArrayLike) -> Array:
    """The closed outline between offsets `left` and `right` along stations `z`, shape (2 n, 2)."""
    return np.vstack([frame(z, left), frame(z, right)[::-1]])
