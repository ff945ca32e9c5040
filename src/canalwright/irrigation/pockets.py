"""Where tissue is left that no file touches: fins beside the round part of the canal, and side branches."""

from dataclasses import dataclass

import numpy as np

from canalwright.anatomy.canal import Canal
from canalwright.irrigation.figures import figure
from canalwright.shaping import union_area
from canalwright.shaping.envelope import envelope

SHALLOW = 0.03
"""Fins less deep than this [mm] are swept with the canal."""


@dataclass(frozen=True, slots=True)
class Pocket:
    """Tissue out of the file's reach: `depth` [mm] from the canal to its far end, at level `z`, `volume` [mm3].

    `supposed` where its depth was not measured.
    """

    name: str
    z: float
    depth: float
    volume: float
    supposed: bool = False


def pockets(canal: Canal) -> tuple[Pocket, ...]:
    """Deepest fin (all fins as its volume) and every side branch; the deepest first.

    A fin is what the oval native canal has beyond the round hole of the finishing file, on either side.
    """
    native = canal.native
    cut = np.maximum(envelope(canal.file, native.z, canal.end), native.minor)
    inside = native.z >= canal.end - 1e-9
    fin = np.where(inside, np.maximum(native.major - cut, 0.0) / 2, 0.0)
    found = []
    if fin.max() > SHALLOW:
        at = int(np.argmax(fin))
        beyond = union_area(native.minor, native.major, cut) - np.pi / 4 * cut**2
        volume = float(np.trapezoid(np.where(inside, np.maximum(beyond, 0.0), 0.0), native.z))
        found.append(Pocket("fin", float(native.z[at]), float(fin[at]), volume))
    usual = figure("dissolve", "branch").value
    for portal in canal.portals:
        length = portal.length if portal.length is not None else usual
        volume = float(np.pi / 4 * portal.diameter.value**2 * length)
        found.append(Pocket(portal.kind, portal.z, float(length), volume, portal.length is None))
    return tuple(sorted(found, key=lambda p: -p.depth))
