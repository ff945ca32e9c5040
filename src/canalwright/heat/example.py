"""An invented canal and protocol, for warming up and for the benchmark; not a recommendation."""

import numpy as np

from canalwright.anatomy.lumen import Lumen
from canalwright.instruments import Carrier, Cone, Needle, Plugger, Profile
from canalwright.protocol import Act, Bite, Heat, Inject, Pause, Place, Press, Protocol, Sear


def lumen(
    length: float = 16.0, tip: float = 0.4, taper: float = 0.06, root: float = 2.5, wall: float | None = None
) -> Lumen:
    """A round straight canal in a root of radius `root` (narrowing over the last 3 mm), or of constant `wall`."""
    z = np.round(np.arange(0, length + 0.05, 0.1), 3)
    width = tip + taper * z
    narrowing = np.clip(0.35 + 0.65 * z / 3.0, 0, 1)
    walls = np.maximum(root - width / 2, 0.5) * narrowing if wall is None else np.full_like(z, wall)
    centre = np.column_stack([np.zeros_like(z), np.zeros_like(z), z])
    axis = np.tile([1.0, 0.0, 0.0], (len(z), 1))
    return Lumen(z, width, width.copy(), centre, axis, walls, np.pi / 4 * width**2)


def protocol(rounds: int = 3, portions: int = 3) -> Protocol:
    """Sear, rounds of the downpack, portions of the backfill: about three minutes."""
    carrier = Carrier("carrier 0.5 / 06", Profile.uniform(0.5, 0.06))
    needle = Needle("needle", 23, 0.64, 0.33)
    pluggers = (
        Plugger("wide", Profile.uniform(1.1, 0.02)),
        Plugger("middle", Profile.uniform(0.8, 0.02)),
        Plugger("narrow", Profile.uniform(0.5, 0.02)),
    )
    acts: list[Act] = [
        Place(Cone("cone", Profile.uniform(0.4, 0.06)), 0.5),
        Sear(carrier, 14.0, 200.0, 1.0),
        Press(pluggers[0], 13.5, 20.0, 5.0),
        Pause(5.0),
    ]
    for i in range(rounds):
        stop = 10.5 - 3.0 * i
        acts += [
            Heat(carrier, stop, 200.0, 3.0, 2.0, 1.0),
            Bite(stop + 0.5, 1.0, 1.5),
            Press(pluggers[min(i, 2)], stop, 20.0, 10.0),
            Pause(8.0),
        ]
    bottom = 10.5 - 3.0 * (rounds - 1)
    for i in range(portions):
        top = bottom + (14.0 - bottom) * (i + 1) / portions
        acts += [
            Inject(needle, bottom + (14.0 - bottom) * i / portions, top, 80.0, 4.0),
            Press(pluggers[2 - min(i, 2)], top - 0.3, 20.0, 12.0),
            Pause(8.0),
        ]
    return Protocol(tuple(acts))
