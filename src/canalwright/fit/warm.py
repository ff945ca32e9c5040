"""Compile before anyone waits for it."""

import numpy as np

from canalwright.fit.cone import seat, tug_back
from canalwright.fit.passage import Passage
from canalwright.fit.reach import reach
from canalwright.instruments import Profile


def warm_up() -> None:
    """Load the compiled parts of this room, compiling them on the first run on a machine (about 8 s, then cached).

    For a thread in the background: the work lets other threads run.
    """
    n = 21
    z = np.linspace(0.0, 2.0, n)
    wide = np.full((1, n), 0.5)
    line = np.column_stack([0.1 * z**2, np.zeros(n), z])
    side, one = np.tile([0.0, 1.0, 0.0], (n, 1)), np.ones(1)
    passage = Passage(z, wide, wide, wide, line, np.zeros((n, 3)), side, one, 0.0, 20 * one)
    profile = Profile.uniform(0.3, 0.02)
    tug_back(profile, z, wide, seat(profile, z, wide))
    reach(profile, passage, elastic=True, strain_limit=1e-6)
