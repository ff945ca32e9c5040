"""Second limbs: a canal that parts from another one, or comes from its own orifice beside it, and was not found as an end.

About a traced canal the root is straightened; what is dark in it, beside the lumens, and long enough along the root is a limb
(a side branch is short along it, an isthmus is no darker than its thinness lets it be) and has dentine round it (a groove of
the root's surface has not). Its way follows the darkest place of each station.
Where it begins or ends short of the root's own ends it is led into the canal that it parts from
or joins, along which it then runs on.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import find_objects, gaussian_filter, label, map_coordinates

from canalwright.imaging.errors import ScanError
from canalwright.imaging.found import FoundCanal
from canalwright.imaging.tracing.apart import Apart
from canalwright.imaging.tracing.block import take
from canalwright.imaging.tracing.path import tones_of
from canalwright.imaging.tracing.quality import doubted_as
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
SKIN = 0.45
WALLED = 0.7
"""Share of the places round a limb, lumens left out, that are less than half as dark as it is."""
TURNS = 24
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
            if other.quality.score < BELIEVED:
                continue
            out.append(other)
            again = _again(scan, canal, other)
            out = [again if c is canal else c for c in out]
    return out


def _again(scan: Scan, canal: FoundCanal, limb: FoundCanal) -> FoundCanal:
    """The canal measured anew with the limb's lumen left to the limb; as it was where that is no better."""
    apart = Apart(canal.lumen.centre, (limb.lumen.centre,))
    via = list(canal.lumen.centre[::-1][10:-10:15])
    try:
        again = trace(scan, canal.orifice, canal.terminus, via=via, guessed=True, apart=apart)
    except ScanError:
        return canal
    again = replace(again, notes=canal.notes, quality=doubted_as(again.quality, canal.quality))
    return again if again.quality.score >= canal.quality.score else canal


def limbs(scan: Scan, canal: FoundCanal, others: list[FoundCanal]) -> list[Limb]:
    """The limbs beside `canal` that none of the `others` is. Needs the canal's `surface`."""
    block = take(scan, np.array([canal.orifice, canal.terminus]), AROUND)
    tones = tones_of(block, canal.orifice, canal.terminus)
    root = straighten(scan, canal, tones, others, block=block)
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
        if _walled(root, dark, middle, peak, round_it) >= WALLED:
            made.append(_limb(canal, root, middle))
    return made


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
    apart = Apart(limb.way, (canal.lumen.centre,))
    return trace(scan, limb.way[0], limb.way[-1], via=via, guessed=True, apart=apart)


def _unit(way: Array) -> Array:
    return np.asarray(way / max(float(np.linalg.norm(way)), 1e-9))
