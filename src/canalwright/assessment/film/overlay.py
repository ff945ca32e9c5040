"""The planned canal laid over the radiograph.

The canal as planned is drawn as a film would show it (seen from the cheek: x distal, y coronal), and brought onto the film by a similarity
(turn, shift, scale, and mirrored where that fits better: a film may show either side) that carries its stations onto the marked line
best in the sense of least squares (Umeyama 1991, IEEE Trans Pattern Anal 13:376-380), the terminus counting tenfold. Where
the reference point is marked, stations are shared out between it and the terminus, so that foreshortening is taken up by the scale.
`misfit` tells how far the two lines stay apart: curvature in the beam's direction, and a canal that is not as it was planned.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Lumen
from canalwright.assessment.film.straight import Straight

Array = NDArray[np.float64]
POOR = 0.8
"""Misfit above which the overlay is called poor, mm (our own)."""


@dataclass(frozen=True)
class Overlay:
    """`left`, `right` (n, 2) edges of the planned lumen and `line` (n, 2), pixels; `z` (n,) stations; `misfit` mm (root mean square);
    `stretch`: scale of the film over that of the plan (1 where they agree); `mirrored`.
    """

    z: Array
    line: Array
    left: Array = field(repr=False)
    right: Array = field(repr=False)
    misfit: float
    stretch: float
    mirrored: bool

    @property
    def poor(self) -> bool:
        """True where the two lines do not belong together."""
        return self.misfit > POOR or not 0.7 < self.stretch < 1.3

    def across(self, z: float, more: float = 0.0) -> Array:
        """A short line across the canal at a station, (2, 2) pixels, `more` times as long as the canal is wide."""
        ends = [np.array([np.interp(z, self.z, c) for c in side.T]) for side in (self.left, self.right)]
        middle, half = (ends[0] + ends[1]) / 2, (ends[0] - ends[1]) / 2 * (1 + more)
        return np.array([middle + half, middle - half])

    def side(self, z: float, distal: bool) -> Array:
        """Unit direction (pixels) towards distal or mesial at a station."""
        ends = [np.array([np.interp(z, self.z, c) for c in side.T]) for side in (self.left, self.right)]
        way = ends[1] - ends[0]  # left is drawn mesially, right distally
        way = way / max(float(np.linalg.norm(way)), 1e-9)
        return np.asarray(way if distal else -way)


def lay_over(
    canal: Canal, lumen: Lumen, straight: Straight, terminus: float, reference: Array | None = None
) -> Overlay:
    """Lay a canal and its lumen over a film whose line was laid straight; `terminus` as arc length, `reference` in pixels."""
    z = lumen.z[lumen.z >= 0]
    flat, left, right = _drawn(lumen, z)
    spread = 1.0
    if reference is not None:
        top = straight.pixel(float(straight.s[0]))
        shown = terminus - straight.s[0] + float(np.linalg.norm(reference - top)) * straight.mm
        spread = float(np.clip(shown / canal.length.value, 0.6, 1.4))
    used = z[z * spread <= terminus - straight.s[0]]
    if len(used) < 5:
        used = z[:5]
    film = np.array([straight.pixel(terminus - a * spread) for a in used])
    weight = np.ones(len(used))
    weight[0] = 10.0
    source = flat[: len(used)] / straight.mm
    fits = [(_similarity(source * flip, film, weight), flip) for flip in (np.array([1.0, 1.0]), np.array([-1.0, 1.0]))]
    (turn, shift), flip = min(fits, key=lambda f: _misfit(f[0], source * f[1], film, weight))
    misfit = _misfit((turn, shift), source * flip, film, weight) * straight.mm
    stretch = float(np.sqrt(abs(np.linalg.det(turn))))
    carried = [p / straight.mm * flip @ turn.T + shift for p in (flat, left, right)]
    return Overlay(z, carried[0], carried[1], carried[2], misfit, stretch, bool(flip[0] < 0))


def _drawn(lumen: Lumen, z: Array) -> tuple[Array, Array, Array]:
    """The line and both edges of a lumen as a film shows them: x distal, y down (apically), mm, terminus at 0."""
    keep = lumen.z >= 0
    centre, axis = lumen.centre[keep], lumen.axis[keep]
    line = np.column_stack([centre[:, 0] - centre[0, 0], -(centre[:, 2] - centre[0, 2])])
    tangent = np.gradient(line, z, axis=0)
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1), 1e-9)[:, None]
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    normal *= np.where(normal[:, :1] < 0, -1.0, 1.0)
    share = np.clip((normal[:, 0] * axis[:, 0] - normal[:, 1] * axis[:, 2]) ** 2, 0, 1)
    half = 0.5 * np.sqrt(lumen.minor[keep] ** 2 * (1 - share) + lumen.major[keep] ** 2 * share)
    return line, line - normal * half[:, None], line + normal * half[:, None]


def _similarity(source: Array, target: Array, weight: Array) -> tuple[Array, Array]:
    """Matrix (2, 2) and shift (2,) of the best similarity without mirroring."""
    w = weight / weight.sum()
    a, b = w @ source, w @ target
    cov = (target - b).T @ (w[:, None] * (source - a))
    u, s, vt = np.linalg.svd(cov)
    sign = np.diag([1.0, np.sign(np.linalg.det(u @ vt)) or 1.0])
    turn = u @ sign @ vt
    variance = float(w @ np.sum((source - a) ** 2, axis=1))
    scale = float(np.sum(s * np.diag(sign)) / max(variance, 1e-12))
    return scale * turn, b - scale * turn @ a


def _misfit(fit: tuple[Array, Array], source: Array, target: Array, weight: Array) -> float:
    away = source @ fit[0].T + fit[1] - target
    return float(np.sqrt(weight @ np.sum(away**2, axis=1) / weight.sum()))
