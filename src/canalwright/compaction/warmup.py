"""Compile the kernels (or read them from the cache) before anybody waits for them."""

import threading
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.lumen import Lumen, Portal
from canalwright.compaction.story import simulate
from canalwright.instruments import Cone, Needle, Plugger, Profile
from canalwright.protocol import Bite, Inject, Place, Press, Protocol
from canalwright.quantities import Reading

Array = NDArray[np.float64]


@dataclass(frozen=True)
class _Steady:
    time: Array
    z: Array
    axis: Array
    surface: Array


def warm_up(wait: bool = False) -> threading.Thread:
    """Run a small made-up filling in a background thread; `wait` until it is done."""
    thread = threading.Thread(target=_small, name="compaction warm-up", daemon=True)
    thread.start()
    if wait:
        thread.join()
    return thread


def _small() -> None:
    z = np.arange(0, 2.05, 0.1)
    wide = 0.4 + 0.06 * z
    centre, axis = np.column_stack([0 * z, 0 * z, z]), np.tile([1.0, 0.0, 0.0], (len(z), 1))
    lumen = Lumen(z, wide, wide, centre, axis, np.full(len(z), 1.0), np.pi / 4 * wide**2)
    plugger, cone = Plugger("", Profile.uniform(0.4, 0.0)), Cone("", Profile.uniform(0.38, 0.06))
    acts = (
        Place(cone, 0.2, 1.0),
        Bite(1.5),
        Press(plugger, 1.2, 10.0, 2.0),
        Inject(Needle("", 23, 0.6, 0.3), 1.2, 2.0, 80.0, 1.0),
    )
    time = np.arange(0, 6, 0.1)
    warm = np.full((len(time), len(z)), 55.0) - time[:, None]
    portal = Portal(1.0, Reading(0.1, 0.01, "mm"), length=0.5)
    simulate(lumen, [portal], Protocol(acts), _Steady(time, z, warm, warm - 5.0))
