"""The centreline of a canal from its curves: straight coronally, then circular arcs.

Frame: x distal, y lingual (palatal), z coronal, whatever the side of the jaw (so a right and a left tooth
are mirror images in space; lengths and widths do not notice). The terminus is at the origin and the
straight coronal part runs along z.

An arc of radius R and central angle a turns the tangent by a (Weine, Pruett). When it begins at level h
and ends at h - R a, the rest being straight, the angle of Schneider is that of the chord:
tan S = (R (1 - cos a) + (h - R a) sin a) / (R sin a + (h - R a) cos a), which is a / 2 for an arc that ends
at the terminus (geometry). Curves in two planes are what two views show: with A and B the angles seen in
the mesiodistal and the buccolingual plane, the tangent is along (tan A, tan B, 1). One curve alone is an exact
arc. Left out: in its own view a curve is shortened by the other one, so a Schneider angle comes out up to half a
degree off where the other curve turns by 30 degrees (tested).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from canalwright.anatomy.lumen import Array

MOST_TURN, MOST_TURN_IN_TWO_PLANES = 120.0, 85.0
"""Greatest turn of a canal, degrees: of one curve towards a side, and in each plane where there are two."""

_WORDS = {
    "distal": (1, 0), "mesial": (-1, 0), "lingual": (0, 1), "palatal": (0, 1), "buccal": (0, -1), "labial": (0, -1),
    "facial": (0, -1), "distolingual": (1, 1), "distopalatal": (1, 1), "distobuccal": (1, -1), "distolabial": (1, -1),
    "mesiolingual": (-1, 1), "mesiopalatal": (-1, 1), "mesiobuccal": (-1, -1), "mesiolabial": (-1, -1),
}  # fmt: skip
DIRECTIONS = tuple(_WORDS)


@dataclass(frozen=True, slots=True)
class Arc:
    """A circular arc: from level `start` apically, `radius` mm, turning `angle` rad towards `towards`."""

    start: float
    radius: float
    angle: float
    towards: str = "distal"

    @property
    def stop(self) -> float:
        """Level of its apical end, mm."""
        return self.start - self.radius * self.angle


def direction(word: str) -> Array:
    """Unit vector (x distal, y lingual) of a direction in words of the trade; raises KeyError for other words."""
    vector = np.array(_WORDS[word], dtype=float)
    return np.asarray(vector / np.linalg.norm(vector))


def schneider(arc: Arc) -> float:
    """Angle of Schneider [rad] of an arc whose canal runs straight from the arc's end to the terminus."""
    rest = arc.stop
    across = arc.radius * (1 - np.cos(arc.angle)) + rest * np.sin(arc.angle)
    along = arc.radius * np.sin(arc.angle) + rest * np.cos(arc.angle)
    return float(np.arctan2(across, along))


def arc_from_schneider(angle: float, start: float, radius: float | None, towards: str = "distal") -> Arc:
    """The arc that begins at level `start` and shows a Schneider angle [rad].

    Without a radius the arc ends at the terminus. Raises ValueError when no arc of this radius shows that angle:
    the greatest is start / (2 radius).
    """
    if radius is None or angle <= 0:
        return Arc(start, start / (2 * angle) if angle > 0 else np.inf, 2 * angle, towards)
    most = start / radius
    if angle > most / 2 + 1e-9:
        raise ValueError(
            f"a curve that begins {start:g} mm from the terminus needs a radius of at most {start / (2 * angle):.1f} mm"
        )
    if angle > most / 2 - 1e-9:
        return Arc(start, radius, most, towards)
    turn = brentq(lambda a: schneider(Arc(start, radius, a)) - angle, 0.0, most)
    return Arc(start, radius, float(turn), towards)


def centreline(z: Array, arcs: Sequence[Arc]) -> tuple[Array, Array]:
    """Points and tangents (pointing coronally) at levels `z` (n,), each of shape (n, 3); arcs may overlap.

    Between levels the tangent is integrated by Gauss's rule with five points, the ends of arcs being levels too.
    """
    z = np.asarray(z, dtype=float)
    bends = [arc for arc in arcs if arc.angle > 0]
    cuts = [level for arc in bends for level in (arc.start, max(arc.stop, 0.0))]
    levels = np.unique(np.concatenate([z, [c for c in cuts if z.min() < c < z.max()]]))
    nodes, weights = np.polynomial.legendre.leggauss(5)
    half = np.diff(levels) / 2
    inner = (levels[:-1] + levels[1:])[:, None] / 2 + half[:, None] * nodes
    steps = np.einsum("ijk,j->ik", _tangents(inner, bends), weights) * half[:, None]
    points = np.vstack([np.zeros(3), np.cumsum(steps, axis=0)])[np.searchsorted(levels, z)]
    return points - points[0], _tangents(z, bends)


def _tangents(z: Array, arcs: Sequence[Arc]) -> Array:
    """Unit tangents, pointing coronally, at levels `z` (any shape), shape (..., 3)."""
    angles = [np.zeros(z.shape), np.zeros(z.shape)]
    for arc in arcs:
        turned = np.clip((arc.start - z) / arc.radius, 0.0, arc.angle)
        for plane, part in enumerate(direction(arc.towards)):
            angles[plane] = angles[plane] + np.arctan2(part * np.sin(turned), np.cos(turned)) * (part != 0)
    a, b = angles
    tangent = np.stack([-np.sin(a) * np.cos(b), -np.cos(a) * np.sin(b), np.cos(a) * np.cos(b)], axis=-1)
    return np.asarray(tangent / np.linalg.norm(tangent, axis=-1, keepdims=True))


def across(tangents: Array, widest: str) -> Array:
    """Unit directions (n, 3) of the greatest width, square to the tangents (n, 3).

    `widest` is 'buccolingual' or 'mesiodistal'.
    """
    wanted = np.array([1.0, 0.0, 0.0]) if widest == "mesiodistal" else np.array([0.0, 1.0, 0.0])
    flat = wanted - (tangents @ wanted)[:, None] * tangents
    return np.asarray(flat / np.linalg.norm(flat, axis=1, keepdims=True))
