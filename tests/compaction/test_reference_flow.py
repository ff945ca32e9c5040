"""Protects: the branch flow with cooling stays near a general-purpose solution with the radius resolved.

The lumped model comes 5-35 % further, because the shell at the wall stiffens before the mean does; beyond that band
something broke.
"""

import numpy as np
import pytest

from canalwright.compaction.branches import CELLS, advance_gutta
from canalwright.compaction.materials import table
from tests.compaction.reference import penetration

NOMINAL = table({})[0]


@pytest.mark.parametrize(
    ("pressure", "core", "wall", "diameter"), [(5, 70, 40, 0.2), (3, 70, 50, 0.3), (2, 60, 48, 0.1)]
)
def test_flow_with_cooling(pressure: float, core: float, wall: float, diameter: float) -> None:
    theirs = penetration(pressure, 5.0, core, wall, wall - 2, diameter, 2.0, NOMINAL)
    arrived, soft = np.full(CELLS, -1.0), np.zeros(CELLS)
    ours = advance_gutta(
        pressure,
        5.0,
        0.0,
        core,
        1.0,
        wall,
        wall - 2.0,
        diameter,
        diameter,
        False,
        2.0,
        2.0,
        0.0,
        arrived,
        soft,
        NOMINAL,
    )
    assert 0.95 < ours / theirs < 1.40
