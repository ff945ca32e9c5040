"""The ways of a tooth's canals: the dead ends of its pulp, and from each the way up to its orifice and on to the root's surface.

The way through the pulp from its roof cuts it into shells; their connected parts make a tree. Every dead end that
is the lowest place of its way is a canal. From such an end the canal is followed on, too faint for a threshold, in small
steps to where it is darker than what is beside it, until it leaves the root. The orifice lies where the canal leaves the
chamber (`floor`), else at the lower border of the enamel, else where the pulp is widest.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_erosion, distance_transform_edt, label
from scipy.spatial import cKDTree
from skimage.graph import MCP_Geometric

from canalwright.imaging.tooth.ends import SHORTEST, dead_ends
from canalwright.imaging.tooth.floor import chamber_floor, mouth, tops
from canalwright.imaging.tooth.outline import STEP, Tooth
from canalwright.imaging.tracing.apart import dense
from canalwright.imaging.tracing.between import BESIDE, RING, stands_out

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
FARTHEST = 8.0
"""How far a canal is followed beyond where a threshold sees it, mm."""
CONE = np.vstack([[[0.0, 0.0]], *(np.tan(np.radians(a)) * RING for a in (10, 20, 30))])
"""Directions of one step about the last one, as offsets across it."""
STRICTER = (0.4, 0.55)
"""Darkness, as a share of the contrast, of the pulp's further looks for dead ends."""
APART = 1.2
"""Distance between termini from which an end seen at another darkness is another canal, mm."""
ONE = 0.6
"""Distance between termini up to which they are one, mm."""
TOGETHER = 0.5
"""Distance from another way over its last `LAST` mm within which an end is the other's, mm."""
LAST = 3.0
SEEN = 1.5
"""How much farther down one of two ways to one end is seen where it is taken for the other, mm."""
ASIDE = 0.7
"""Distance from which an orifice is another one, mm."""


@dataclass(frozen=True)
class Way:
    """A canal as the pulp shows it: points (m, 3) LPS from its orifice down to where a threshold loses it, and `course` (k, 3), where it
    was followed from there to its terminus.
    """

    points: Array
    course: Array

    @property
    def terminus(self) -> Array:
        """The last point of its course."""
        return np.asarray(self.course[-1])

    @property
    def orifice(self) -> Array:
        """Its first point."""
        return np.asarray(self.points[0])

    @property
    def whole(self) -> Array:
        """Its points and its terminus, (m + 1, 3)."""
        return np.vstack([self.points, self.terminus])

    @property
    def length(self) -> float:
        """Along the points, mm."""
        return float(np.linalg.norm(np.diff(self.points, axis=0), axis=1).sum())

    def above(self, other: "Way") -> "Way":
        """Its lower part below the points of another way to the same end, which is taken for its upper part."""
        at = int(np.argmin(np.linalg.norm(self.points - other.points[-1], axis=1)))
        return Way(np.vstack([other.points, self.points[at + 1 :]]), self.course)

    def deeper(self, depth: float) -> Array:
        """The point `depth` mm below the orifice along the way."""
        arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(self.points, axis=0), axis=1))])
        return np.asarray(self.points[min(int(np.searchsorted(arc, depth)), len(arc) - 1)])


def canal_ways(tooth: Tooth) -> list[Way]:
    """The way of every canal of the pulp.

    Dead ends are looked for at several levels of darkness: an isthmus, or a grey taken a little wrong for dentine's, hides the
    end of a canal at one and shows it at another. Where two canals run together in the blur one borrows the other's orifice; a
    stricter look shows its own. Of two ways to one end that is kept which is seen farther down.
    """
    out: list[Way] = []
    for level in (0.0, *STRICTER):
        pulp = tooth.pulp & (tooth.dark > level)
        if not pulp.any():
            break
        for way in _ways(tooth if not level else replace(tooth, pulp=pulp)):
            twin = next((n for n, other in enumerate(out) if _same(way, other)), None)
            if twin is None:
                out = [other for other in out if not _along(other.terminus, way)] + [way]
            elif float((out[twin].points[-1] - way.points[-1]) @ tooth.crown) > SEEN:
                out[twin] = way
            elif _borrows(out, twin, way, tooth.crown):
                out[twin] = out[twin].above(way)
    return out


def _borrows(ways: list[Way], which: int, seen: Way, crown: Array) -> bool:
    """Whether a way begins in the orifice of another one, though `seen` more strictly it begins beside that, as high up."""
    there = [float(np.linalg.norm(ways[which].orifice - o.orifice)) for n, o in enumerate(ways) if n != which]
    aside = [float(np.linalg.norm(seen.orifice - o.orifice)) for o in ways]
    lower = float((ways[which].orifice - seen.orifice) @ crown)
    return min(there, default=np.inf) < TOGETHER and min(aside) > ASIDE and lower < ASIDE


def _same(way: Way, other: Way) -> bool:
    """Whether two ways end at one place, the one on its way to the other's end, or near each other and come there by one way."""
    apart = float(np.linalg.norm(way.terminus - other.terminus))
    if apart <= ONE or _along(way.terminus, other):
        return True
    if apart > APART:
        return False
    away, _ = cKDTree(dense(other.whole)).query(way.points[-max(2, round(LAST / STEP)) :])
    return bool(np.median(away) < TOGETHER)


def _along(point: Array, way: Way) -> bool:
    """Whether a point lies on a way: what was followed to there and no farther is that way's canal."""
    return bool(cKDTree(dense(way.whole)).query(point)[0] < TOGETHER)


def _ways(tooth: Tooth) -> list[Way]:
    wide = distance_transform_edt(tooth.pulp, sampling=STEP)
    above = tops(tooth, wide)
    linked = _linked(tooth)
    costs = np.where(linked, 1.0, -1.0)
    way = MCP_Geometric(costs, sampling=(STEP,) * 3)
    far, _ = way.find_costs(above)
    ends = dead_ends(np.where(tooth.pulp, far, np.inf))
    middle = MCP_Geometric(np.where(linked, 1 / np.maximum(wide, 0.5 * STEP) ** 2, -1.0), sampling=(STEP,) * 3)
    middle.find_costs(above)
    paths = [np.array(middle.traceback(end))[::-1] for end in ends]
    kept = [p for p in paths if p[0][0] <= min(p[:, 0].min() + 2, p[-1][0] - SHORTEST / STEP)]
    floor = chamber_floor(tooth, kept)
    out = []
    for p in kept:
        cut = mouth(tooth, p, wide, floor)
        out.append(Way(tooth.place(p[: cut + 1])[::-1], _onward(tooth, p)))
    return out


def _linked(tooth: Tooth) -> Mask:
    """The pulp with its pieces joined through what is faintly dark between them, inside the solid tooth."""
    core = binary_erosion(tooth.solid, iterations=2)
    names, count = label(tooth.pulp, np.ones((3, 3, 3)))
    if count == 1:
        return tooth.pulp
    out = tooth.pulp.copy()
    largest = 1 + int(np.argmax(np.bincount(names.ravel())[1:]))
    speed = np.where(core | tooth.pulp, 1 / np.maximum(tooth.dark, 0.03), -1.0)
    start = [tuple(p) for p in np.argwhere(names == largest)[::5]]
    link = MCP_Geometric(speed, sampling=(STEP,) * 3)
    cost, _ = link.find_costs(start)
    for name in range(1, count + 1):
        if name == largest:
            continue
        nodes = np.argwhere(names == name)
        nearest = nodes[int(np.argmin(cost[tuple(nodes.T)]))]
        if np.isfinite(cost[tuple(nearest)]):
            out[tuple(np.array(link.traceback(tuple(nearest))).T)] = True
    return out


def _onward(tooth: Tooth, path: Array) -> Array:
    """Follow the canal from `path[0]` to the root's surface, points LPS (k, 3): small steps to where a narrow cone is darkest beside
    what lies to both sides. Dark on one side only is the root's outside: a faint canal in a thin root was left for it.
    """
    points = tooth.place(path)
    at = points[0]
    way = at - points[min(len(points) - 1, round(2.5 / STEP))]
    way = way / max(float(np.linalg.norm(way)), 1e-9)
    ahead = np.arange(0.15, 1.0, 0.15)
    course = [at]
    for _ in range(round(FARTHEST / 0.2)):
        one = np.cross(way, np.eye(3)[int(np.argmin(np.abs(way)))])
        one /= np.linalg.norm(one)
        across = np.stack([one, np.cross(way, one)])
        cone = way + CONE @ across
        cone /= np.linalg.norm(cone, axis=1)[:, None]
        line = at + ahead[:, None] * cone[:, None]
        beside = tooth.darkness(line[:, :, None] + BESIDE * RING @ across).mean(axis=1)
        seen = stands_out(tooth.darkness(line).mean(axis=1), beside)
        best = cone[int(np.argmax(seen - 0.15 * (1 - cone @ way)))]
        way = 0.6 * way + 0.4 * best
        way /= np.linalg.norm(way)
        after = at + 0.2 * way
        ring = tooth.darkness(after + 0.5 * RING @ np.stack([one, np.cross(way, one)]))
        if not tooth.holds(after[None])[0] and np.mean(ring < 0.38) < 0.3:
            break
        at = after
        course.append(at)
    return np.array(course)
