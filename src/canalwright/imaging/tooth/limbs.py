"""Second limbs: a canal that parts from another one, or comes from its own orifice beside it, and was not found as an end.

About a traced canal the root is straightened; what is dark in it, beside the lumens, and long enough along the root is a limb
(a side branch is short along it, an isthmus is no darker than its thinness lets it be) and has dentine round it (a groove of
the root's surface has not). Two lumens beside each other may have been fitted as one long oval: of a section that is longer than
`OVAL` times its width only so much is taken for the lumen, and what lies beyond is a limb where dentine parts it from there. Its
way follows the darkest place of each station.
Where it begins or ends short of the root's own ends it is led into the canal that it parts from
or joins, along which it then runs on.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import find_objects, gaussian_filter, label, map_coordinates
from scipy.spatial import cKDTree

from canalwright.imaging.errors import ScanError
from canalwright.imaging.found import FoundCanal
from canalwright.imaging.tracing.apart import Apart
from canalwright.imaging.tracing.block import take
from canalwright.imaging.tracing.path import tones_of
from canalwright.imaging.tracing.quality import but_for_its_end, doubted_as
from canalwright.imaging.tracing.straight import Straight, straighten
from canalwright.imaging.tracing.trace import trace
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
DARK = 0.25
"""Share of the contrast from which a node may belong to a limb; at least five times the noise."""
AROUND = 5.0
LONG = 1.5
"""Least length of a limb along the root, mm."""
CLEAR = 1.3
"""Distance from a lumen at which its blurred edge has faded, and from the root's surface, voxels."""
OVAL = 1.8
"""Greatest over least width up to which a section is taken for one lumen's beyond doubt: our own choice, seen on drawn roots of type VI."""
VALLEY = 0.7
"""Darkness, as a share of the fainter one's, that what lies between a limb and its canal comes down to: a flat canal has no valley
(our own choice)."""
BESIDE = 2.5
"""How near to a canal all of a limb lies that may have been measured with it, mm (our own choice)."""
SKIN = 0.45
WALLED = 0.7
"""Share of the places round a limb, lumens left out, that are less than half as dark as it is."""
TURNS, ACROSS = 24, 16
VIA = 4
"""Every how manieth point of a limb's way its trace runs through."""
LEAD = 0.9
"""Length over which a limb runs into the canal that it parts from or joins, mm."""
ONWARD = 0.6
"""How far below what is seen of it a limb with an end of its own is taken to go, mm: its exit is looked for from there."""
BELIEVED = 0.4
"""Score from which a limb is believed."""
ENDS = 1.2
"""How near to the end of what was straightened a limb has an end of its own, mm."""


@dataclass(frozen=True)
class Limb:
    """A second limb beside a canal: its way (m, 3) from the orifice down, LPS mm; whether it `parts` from that canal above and
    `joins` it below.
    """

    way: Array
    parts: bool
    joins: bool


def with_limbs(
    scan: Scan, canals: list[FoundCanal], *, step: Callable[[float], None] = lambda share: None
) -> list[FoundCanal]:
    """The canals with the second limbs that lie beside them, the canal itself measured again apart from its limb.

    `step` is told the share that is done.
    """
    out = list(canals)
    for done, canal in enumerate(canals):
        step(done / len(canals))
        for limb in limbs(scan, canal, [c for c in out if c is not canal]):
            try:
                other = traced(scan, canal, limb)
            except ScanError:
                continue
            if but_for_its_end(other.quality) < BELIEVED:
                continue
            out.append(other)
            out = [c if c is other or not _holds(c, limb) else _again(scan, c, limb, out) for c in out]
    return out


def _holds(canal: FoundCanal, limb: Limb) -> bool:
    """Whether the canal runs beside the limb, or was measured as one long oval with it."""
    return bool((cKDTree(canal.lumen.centre).query(limb.way)[0] < BESIDE).all())


def _again(scan: Scan, canal: FoundCanal, limb: Limb, canals: list[FoundCanal]) -> FoundCanal:
    """The canal measured anew with the limb's lumen left to the limb; as it was where that is no better."""
    own = _mended(canal)
    apart = Apart(own, (limb.way, *(_mended(c) for c in canals if c is not canal)), sure=True)
    try:
        again = trace(scan, canal.orifice, canal.terminus, via=list(own[::-1][10:-10:15]), guessed=True, apart=apart)
    except ScanError:
        return canal
    again = replace(again, notes=canal.notes, quality=doubted_as(again.quality, canal.quality))
    return again if again.quality.score >= canal.quality.score else canal


def _mended(canal: FoundCanal) -> Array:
    """The canal's line (n, 3), straight on where two lumens were measured as one long oval and drew it between them."""
    lumen = canal.lumen
    sound = np.nonzero(lumen.major <= OVAL * lumen.minor)[0]
    if len(sound) < 2:
        return lumen.centre
    bridged = slice(int(sound[0]), int(sound[-1]) + 1)
    out = lumen.centre.copy()
    out[bridged] = np.column_stack([np.interp(lumen.z[bridged], lumen.z[sound], c[sound]) for c in lumen.centre.T])
    return out


def limbs(scan: Scan, canal: FoundCanal, others: list[FoundCanal]) -> list[Limb]:
    """The limbs beside `canal` that none of the `others` is. Needs the canal's `surface`."""
    block = take(scan, np.array([canal.orifice, canal.terminus]), AROUND)
    tones = tones_of(block, canal.orifice, canal.terminus)
    root = straighten(
        scan, _slim(canal, canal.lumen.centre), tones, [_slim(o, _mended(o)) for o in others], block=block
    )
    edge = CLEAR * max(float(scan.spacing.max()), root.step)
    dark = gaussian_filter(root.dark, 0.7)
    flags = (dark > max(DARK, 5 * tones.noise / tones.contrast)) & (root.skin > SKIN) & (root.beyond > edge)
    names, _ = label(flags, np.ones((3, 3, 3)))
    made = []
    for name, box in enumerate(find_objects(names), start=1):
        if (box[0].stop - 1 - box[0].start) * root.step < LONG:
            continue
        nodes = np.argwhere(names[box] == name) + [side.start for side in box]
        middle, peak, area = _middle(nodes, dark, root.step)
        round_it = np.sqrt(area / np.pi) + CLEAR * max(float(scan.spacing.max()), root.step)
        if _walled(root, dark, middle, peak, round_it) >= WALLED and _valley(root, dark, middle, peak) < VALLEY:
            made.append(_limb(canal, root, middle))
    return made


def _slim(canal: FoundCanal, centre: Array) -> FoundCanal:
    """The canal along `centre` (n, 3), with no section longer than an oval of one lumen."""
    lumen = canal.lumen
    return replace(canal, lumen=replace(lumen, centre=centre, major=np.minimum(lumen.major, OVAL * lumen.minor)))


def _valley(root: Straight, dark: NDArray[np.float32], middle: Array, peak: Array) -> float:
    """Usual least darkness on the straight way from a piece to the canal beside it, as a share of the piece's own."""
    share = np.linspace(0, 1, ACROSS)[:, None]
    centre = np.column_stack([middle[:, 0], np.full((len(middle), 2), float(root.half))])
    way = middle[:, None] + share * (centre - middle)[:, None]
    grey = map_coordinates(dark, way.transpose(2, 0, 1), order=1, mode="nearest")
    return float(np.median(grey.min(axis=1) / peak))


def _middle(nodes: NDArray[np.int_], dark: NDArray[np.float32], step: float) -> tuple[Array, Array, float]:
    """The darkest place of a piece at each of its stations (k, 3), how dark it is there (k,), and the piece's usual section, mm2."""
    middle, peak, area = [], [], []
    for row in np.unique(nodes[:, 0]):
        here = nodes[nodes[:, 0] == row]
        grey = dark[tuple(here.T)].astype(float)
        middle.append([row, *(grey**2 @ here[:, 1:] / (grey**2).sum())])
        peak.append(grey.max())
        area.append(grey.sum() * step**2)
    return np.array(middle), np.array(peak), float(np.median(area))


def _walled(root: Straight, dark: NDArray[np.float32], middle: Array, peak: Array, radius: float) -> float:
    """Usual share of dentine on a circle of `radius` mm about a piece, where the circle lies in no lumen."""
    turn = np.linspace(0, 2 * np.pi, TURNS, endpoint=False)
    circle = middle[:, None] + radius / root.step * np.column_stack([0 * turn, np.sin(turn), np.cos(turn)])
    grey, beyond = (map_coordinates(m, circle.transpose(2, 0, 1), order=1, mode="nearest") for m in (dark, root.beyond))
    free = beyond > 0
    return float(np.median((free & (grey < 0.5 * peak[:, None])).sum(axis=1) / np.maximum(free.sum(axis=1), 1)))


def _limb(canal: FoundCanal, root: Straight, middle: Array) -> Limb:
    """The way through a piece's middles (k, 3), coronal first, led into the canal where it does not reach an end of the root."""
    smooth = max(1, round(0.3 / root.step))
    line = root.place(middle)[::smooth][::-1]
    z = root.low + middle[:, 0] * root.step
    lumen = canal.lumen
    parts, joins = bool(z[-1] < lumen.z[-1] - 0.5 - ENDS), bool(z[0] > ENDS)
    above = lumen.centre[lumen.z > z[-1] + LEAD][::-3] if parts else np.zeros((0, 3))
    onward = line[-1:] + ONWARD * _unit(line[-1] - line[max(-4, -len(line))])
    below = lumen.centre[lumen.z < z[0] - LEAD][::-3] if joins else onward
    return Limb(np.vstack([above, line, below]), parts, joins)


def traced(scan: Scan, canal: FoundCanal, limb: Limb) -> FoundCanal:
    """The limb as a canal of its own, measured apart from the one it lies beside. Raises ScanError as `trace` does."""
    via = list(limb.way[1:-1][::VIA])
    apart = Apart(limb.way, (_mended(canal),))
    return trace(scan, limb.way[0], limb.way[-1], via=via, guessed=True, apart=apart)


def _unit(way: Array) -> Array:
    return np.asarray(way / max(float(np.linalg.norm(way)), 1e-9))
