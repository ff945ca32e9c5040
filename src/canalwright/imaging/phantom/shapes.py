"""The shapes of a phantom: canals and root as tubes, and the truth that follows from them."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.phantom.fill import Tube
from canalwright.imaging.sections import gap

Array = NDArray[np.float64]
TABLE_STEP = 0.05


@dataclass(frozen=True)
class CanalShape:
    """A canal to be made: `apical` least width at the end (mm), `taper` (mm per mm), `ratio` major to minor at the
    end and at the orifice, `turn` of the long axis (degrees over the length), `aside` from the root's axis (mm),
    `bend` (degrees) over the last `curved` mm towards `towards` (degrees about the root's axis), the plane of the bend
    turning by `twist` degrees from there to the end. For a further canal: `join`, the height above the root's end at which
    it meets the first canal for good; `together`, ranges of height in which it runs in the first one. `mouth`: how many times
    wider than that the canal opens at its exit, over its last `flare` mm; `swerve`: how far (mm) and over how much of its last
    length (mm) it turns aside, towards `swerves` degrees, to leave the root beside its tip.
    """

    apical: float = 0.3
    taper: float = 0.06
    ratio: tuple[float, float] = (1.2, 1.8)
    turn: float = 20.0
    aside: tuple[float, float] = (0.15, 0.1)
    bend: float = 25.0
    curved: float = 6.0
    towards: float = 30.0
    twist: float = 0.0
    join: float | None = None
    together: tuple[tuple[float, float], ...] = ()
    mouth: float = 1.0
    flare: float = 0.6
    swerve: tuple[float, float] = (0.0, 1.0)
    swerves: float = 0.0


@dataclass(frozen=True)
class RootShape:
    """A root: height from its end to the orifices (mm), half widths at its end's shoulder, growth per mm, ligament.

    `crest`: height at which bone ends and soft tissue begins; `cej`: height at which enamel begins; None for neither. `tip`: height
    over which the root's end closes, as half an ellipsoid; None: as a ball.
    """

    height: float = 12.0
    half: tuple[float, float] = (1.5, 1.9)
    growth: float = 0.09
    ligament: float = 0.2
    crest: float | None = None
    cej: float | None = None
    tip: float | None = None


@dataclass(frozen=True)
class TrueCanal:
    """The truth of one canal by station, z = 0 where its centreline leaves the root, growing coronally; mm.

    Arrays (n,), `centre`, `axis` (n, 3) in LPS. `wall` is the least distance in the cross plane from lumen to root.
    """

    z: Array
    centre: Array
    minor: Array
    major: Array
    axis: Array
    wall: Array
    length: float

    @property
    def orifice(self) -> Array:
        """Coronal end of the centreline, shape (3,)."""
        return np.asarray(self.centre[-1])

    @property
    def terminus(self) -> Array:
        """Where the centreline leaves the root, shape (3,)."""
        return np.asarray(self.centre[0])


def random_shape(seed: int, *, apical: float | None = None) -> tuple[tuple[CanalShape, ...], RootShape]:
    """A plausible single canal and root drawn from ranges of our own choosing."""
    rng = np.random.default_rng(seed)
    width = float(rng.uniform(0.2, 0.4)) if apical is None else apical
    shape = CanalShape(
        apical=width,
        taper=float(rng.uniform(0.02, 0.08)),
        ratio=(float(rng.uniform(1.0, 1.6)), float(rng.uniform(1.2, 2.6))),
        turn=float(rng.uniform(-40, 40)),
        aside=(float(rng.uniform(-0.3, 0.3)), float(rng.uniform(-0.3, 0.3))),
        bend=float(rng.uniform(0, 40)),
        curved=float(rng.uniform(4, 8)),
        towards=float(rng.uniform(0, 360)),
    )
    half = float(rng.uniform(1.2, 1.8))
    root = RootShape(
        height=float(rng.uniform(9, 12)),
        half=(half, half * float(rng.uniform(1.0, 1.4))),
        growth=float(rng.uniform(0.04, 0.1)),
        ligament=float(rng.uniform(0.15, 0.3)),
    )
    return (shape,), root


def root_tube(root: RootShape, bend: CanalShape) -> Tube:
    """The outer surface of a root that bends as its first canal does, less."""
    above = np.arange(0.0, root.height + 4.0, TABLE_STEP)
    centre = _bent(above, replace(bend, bend=bend.bend * 0.8), root.height)
    cap = root.half[0] if root.tip is None else root.tip
    grown = np.maximum(above - cap, 0) * root.growth
    return Tube.along(centre, 2 * (root.half[0] + grown), 2 * (root.half[1] + grown), np.zeros_like(above), cap=cap)


def canal_tube(shape: CanalShape, root: RootShape, first: Tube | None) -> Tube:
    """The lumen of a canal; a further one runs in `first` where it is told to."""
    above = np.arange(0.0, root.height + 4.0, TABLE_STEP)
    centre = _bent(above, shape, root.height) + np.array([*shape.aside, 0.0])
    far, over = shape.swerve
    turned = far * np.clip(1 - above / over, 0, 1) ** 2
    way = np.radians(shape.swerves)
    centre += turned[:, None] * np.array([np.cos(way), np.sin(way), 0.0])
    ranges = [*shape.together, *([] if shape.join is None else [(-np.inf, shape.join)])]
    if first is not None and ranges:
        on = np.prod([_apart(above, low, high) for low, high in ranges], axis=0)
        count = min(len(first.centre), len(centre))
        centre = centre[:count] * on[:count, None] + first.centre[:count] * (1 - on[:count, None])
        above = above[:count]
    share = np.clip(above / root.height, 0, 1.2)
    minor = shape.apical + shape.taper * above
    ratio = shape.ratio[0] + (shape.ratio[1] - shape.ratio[0]) * share
    return Tube.along(centre, minor, minor * ratio, np.radians(shape.turn) * share)


def with_exit(shape: CanalShape, root: RootShape, seed: int) -> CanalShape:
    """The canal with an end as real roots have it, drawn from a seed: a mouth that opens like a funnel, and beside the tip."""
    rng = np.random.default_rng(40_000 + seed)
    return replace(
        shape,
        mouth=float(rng.uniform(1.2, 3.0)),
        flare=float(rng.uniform(0.3, 1.0)),
        swerve=(float(rng.uniform(0.0, 0.5)) * root.half[0], float(rng.uniform(0.8, 2.0))),
        swerves=float(rng.uniform(0, 360)),
    )


def with_tip(root: RootShape, seed: int) -> RootShape:
    """The root with a slender, pointed end, drawn from a seed: a wide foramen there is the open end of a thin-walled tube."""
    rng = np.random.default_rng(50_000 + seed)
    slim = float(rng.uniform(0.65, 1.0))
    half = (slim * root.half[0], slim * root.half[1])
    return replace(root, half=half, tip=half[0] * float(rng.uniform(1.5, 4.5)))


def flared(tube: Tube, root: Tube, shape: CanalShape) -> Tube:
    """The canal opened like a funnel towards where its line leaves the root."""
    if shape.mouth == 1.0:
        return tube
    below = np.clip(1 - (np.arange(len(tube.centre)) * tube.step - _leaves(tube, root)) / shape.flare, 0, 1)
    wider = 1 + (shape.mouth - 1) * below**1.5
    return replace(tube, minor=tube.minor * wider, major=tube.major * wider)


def _apart(above: Array, low: float, high: float) -> Array:
    """0 from `low` to `high`, 1 beyond 1.2 mm outside of that, smooth between."""
    with np.errstate(over="ignore"):
        return np.asarray(1 / (1 + np.exp(-(above - high - 1.2) / 0.35)) + 1 / (1 + np.exp((above - low + 1.2) / 0.35)))


def _bent(above: Array, shape: CanalShape, height: float) -> Array:
    """A straight line above `curved`, an arc of `bend` degrees below it, twisted; by arc length from the root's end."""
    total = np.radians(shape.bend)
    angle = np.where(above < shape.curved, total * (1 - above / shape.curved), 0.0)
    way = np.radians(shape.towards) + np.radians(shape.twist) * np.clip(1 - above / shape.curved, 0, 1)
    tangent = np.column_stack([-np.sin(angle) * np.cos(way), -np.sin(angle) * np.sin(way), np.cos(angle)])
    line = np.vstack([np.zeros(3), np.cumsum((tangent[1:] + tangent[:-1]) / 2 * TABLE_STEP, axis=0)])
    line[:, :2] -= line[-1, :2]
    return np.asarray(line)


def _leaves(tube: Tube, root: Tube, place: Array | None = None) -> float:
    """Arc length at which the tube's line, or what runs along it through `place` (n, 3), comes into the root."""
    level = root.level(tube.centre if place is None else place)
    inside = np.nonzero(level < 0)[0]
    at = int(inside[0])
    arc = np.arange(len(tube.centre)) * tube.step
    if at == 0:
        return -float(level[0]) / float(np.gradient(level)[0]) * tube.step
    return float(np.interp(0.0, [-level[at - 1], -level[at]], [arc[at - 1], arc[at]]))


def _rim(tube: Tube, root: Tube) -> float:
    """Arc length at which the line crosses the rim of the canal's mouth: the mean over its wall."""
    axis = tube.major_axis()
    other = np.cross(tube.tangent, axis)
    turns = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    long, short = tube.major[:, None] / 2 * axis, tube.minor[:, None] / 2 * other
    return float(np.mean([_leaves(tube, root, tube.centre + np.cos(t) * long + np.sin(t) * short) for t in turns]))


def truth_of(tube: Tube, root: Tube, height: float, *, open_: bool = False) -> TrueCanal:
    """Stations every 0.1 mm from where the centreline leaves the root; `open_`: from the rim of the canal's wide mouth."""
    start = _rim(tube, root) if open_ else _leaves(tube, root)
    length = float(tube.arc(height)) - start
    z = np.arange(0.0, length + 1e-9, 0.1)
    s = start + z
    centre = tube.at(s, tube.centre)
    minor, major = tube.at(s, tube.minor), tube.at(s, tube.major)
    axis = tube.at(s, tube.major_axis())
    axis /= np.linalg.norm(axis, axis=1)[:, None]
    other = np.cross(tube.at(s, tube.tangent), axis)
    wall = np.array([_wall(centre[i], axis[i], other[i], major[i] / 2, minor[i] / 2, root) for i in range(len(z))])
    return TrueCanal(z, centre, minor, major, axis, wall, length)


def _wall(centre: Array, axis: Array, other: Array, long: float, short: float, root: Tube) -> float:
    turn = np.linspace(0, 2 * np.pi, 96, endpoint=False)
    ways = np.cos(turn)[:, None] * axis + np.sin(turn)[:, None] * other
    low, high = np.zeros(96), np.full(96, 8.0)
    for _ in range(30):
        middle = (low + high) / 2
        within = root.level(centre + middle[:, None] * ways) < 0
        low, high = np.where(within, middle, low), np.where(within, high, middle)
    outer = low[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    inner = np.column_stack([long * np.cos(turn), short * np.sin(turn)])
    crossed = low < np.hypot(inner[:, 0], inner[:, 1])
    return 0.0 if crossed.any() else gap(inner, outer)[0]
