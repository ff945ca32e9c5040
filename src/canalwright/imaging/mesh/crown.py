"""Which end is the crown, which way the tooth stands, and where crown and root meet."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy import averages
from canalwright.anatomy.tooth import Tooth
from canalwright.imaging.errors import SurfaceError
from canalwright.imaging.mesh.arms import leaves, tip
from canalwright.imaging.mesh.branches import Branching
from canalwright.imaging.mesh.outer import Outer
from canalwright.imaging.mesh.surfaces import Surface

Array = NDArray[np.float64]

OPEN = 0.6
"""An arm that ends nearer than this to the outer surface may open there, mm."""
LONG = 4.0
BELOW = 2.0
SLENDER = 1.3
SECTORS = 24
ENAMEL = 1.0
CEJ, AVERAGE_CEJ = "CEJ", "average level of the CEJ of this tooth"


def crown_direction(b: Branching, alive: frozenset[int], outer: Outer, enamel: Surface | None, file: str) -> Array:
    """Unit direction from the roots to the crown along the tooth's long axis.

    The long axis is that of the filled tooth when it is slender (greatest extent 1.3 times the next,
    as standard deviations), else the line from the openings to the source. Its sense comes from the
    enamel; without it from the arms that reach the outer surface; failing that from the longest arm.
    Raises SurfaceError when the signs contradict one another.
    """
    solid = outer.tooth.origin + outer.tooth.size * np.argwhere(outer.tooth.filled)
    middle = solid.mean(axis=0)
    spread, axes = np.linalg.eigh(np.cov((solid - middle).T))
    source = b.points[b.source]
    ends = [leaf for leaf in leaves(b, alive) if b.level[leaf] * b.step >= LONG]
    tips = np.array([b.points[tip(b, leaf)] for leaf in ends]).reshape(-1, 3)
    if enamel is not None:
        sense = enamel.vertices.mean(axis=0) - middle
    elif len(tips):
        gaps, _ = outer.nearest(tips)
        open_ends = tips[gaps < OPEN] if (gaps < OPEN).any() else tips[:1]
        ways = open_ends - source
        if len(ways) > 1 and (np.linalg.norm(ways.mean(axis=0)) < 0.3 * np.linalg.norm(ways, axis=1).mean()):
            raise SurfaceError(
                f"{file}: the lumen reaches the surface at opposite ends, so crown and root cannot be told apart; "
                "give the termini, or an enamel mesh"
            )
        sense = -ways.mean(axis=0)
    else:
        raise SurfaceError(
            f"{file}: no arm of the lumen is longer than {LONG:.0f} mm; allowed: a lumen with its canals down to "
            "the apex; give the whole lumen"
        )
    axis = axes[:, 2] if spread[2] > SLENDER**2 * spread[1] else sense
    axis = axis / np.linalg.norm(axis)
    return np.asarray(axis if axis @ sense > 0 else -axis)


def apical_leaves(b: Branching, alive: frozenset[int], crown: Array, file: str) -> list[int]:
    """Leaves that lie well below the source: the termini of canals and side branches, not pulp horns."""
    source = b.points[b.source]
    low = [k for k in leaves(b, alive) if (b.points[tip(b, k)] - source) @ crown < -BELOW]
    if not low:
        raise SurfaceError(
            f"{file}: no canal runs towards the apex from the widest part of the lumen; "
            "check that it is the pulp of this tooth, or give the termini"
        )
    return low


@dataclass(frozen=True)
class Cej:
    """The plane of the cemento-enamel junction: `point` (3,), unit `normal` (3,), and how it was found."""

    point: Array
    normal: Array
    how: str = CEJ


def average_cej(tooth: Tooth, outer: Outer, crown: Array) -> Cej:
    """Without enamel: the level that the average root of this tooth reaches, as a share of its length.

    The dentine's length along the crown direction counts as the tooth's, but for 1 mm of enamel.
    """
    known = averages.tooth_averages(tooth)
    height = outer.corners.reshape(-1, 3) @ crown
    low, high = float(height.min()), float(height.max()) + ENAMEL
    level = low + (high - low) * known.root.value / known.length
    middle = outer.corners.reshape(-1, 3).mean(axis=0)
    return Cej(middle + (level - middle @ crown) * crown, crown, AVERAGE_CEJ)


def cej_plane(enamel: Surface, crown: Array) -> Cej:
    """The plane through the enamel's lower border.

    In each of 24 sectors about the axis the lowest enamel vertex; least squares through them. The
    border's wave (lower on the facial and lingual sides) is evened out.
    """
    middle = enamel.vertices.mean(axis=0)
    away = enamel.vertices - middle
    across = np.linalg.svd(crown[None])[2][1:]
    height, flat = away @ crown, away @ across.T
    sector = np.floor((np.arctan2(flat[:, 1], flat[:, 0]) / (2 * np.pi) + 0.5) * SECTORS).astype(int) % SECTORS
    rim = []
    for one in range(SECTORS):
        here = np.nonzero(sector == one)[0]
        if len(here):
            rim.append(here[np.argmin(height[here])])
    points = enamel.vertices[rim]
    centre = points.mean(axis=0)
    normal = np.linalg.svd(points - centre)[2][2]
    return Cej(centre, np.asarray(normal if normal @ crown > 0 else -normal))
