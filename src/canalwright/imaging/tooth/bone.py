"""Was a tooth clicked, or bone beside one? The dentine round its canals tells: of a tooth it is what was clicked.

A click in bone makes a body of bone and root together, whose hollow may be the last millimetres of a real canal. Traced by
itself that looks sound, but what lies round it is far brighter than what was clicked.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.refusal import refusal
from canalwright.imaging.tooth.outline import Tooth
from canalwright.imaging.tooth.ways import Way
from canalwright.imaging.tracing.between import RING

Array = NDArray[np.float64]
BRIGHTER = 0.5
"""Share of the contrast by which the dentine round a canal may be brighter than what was clicked: dentine and bone differ by more than
that whole contrast where bone was clicked, dentine itself varies by a tenth of its own (our own choice)."""
ASIDE = 0.7
"""How far beside a canal its dentine is looked at, mm: clear of most lumens, within most roots."""


def refuse_bone(tooth: Tooth, ways: Sequence[Way]) -> None:
    """Raise ScanError where the ways run in dentine that is much brighter than what was clicked."""
    greys = [_beside(tooth, way) for way in ways]
    if greys and min(greys) - tooth.dentine > BRIGHTER * tooth.contrast:
        raise refusal(
            tooth.block.name, f"the point is in no tooth: it is in bone (grey {tooth.dentine:.0f}) beside a root "
            f"(grey {min(greys):.0f})", remedy="click inside the tooth",
        )  # fmt: skip


def _beside(tooth: Tooth, way: Way) -> float:
    """Usual grey on rings about the straight line from a way's orifice to its end."""
    line = way.orifice - way.terminus
    line /= max(float(np.linalg.norm(line)), 1e-9)
    one = np.cross(line, np.eye(3)[int(np.argmin(np.abs(line)))])
    one /= max(float(np.linalg.norm(one)), 1e-9)
    ring = ASIDE * RING @ np.stack([one, np.cross(line, one)])
    share = np.linspace(0.2, 0.8, 16)[:, None]
    middles = way.terminus + share * (way.orifice - way.terminus)
    return float(np.median(tooth.block.sample(middles[:, None] + ring)))
