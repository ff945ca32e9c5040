"""An invented canal, protocol and temperature history for the tests of this room.

The temperatures follow common practice (apical gutta-percha reaches about 44 C, 52 C at 4 mm, more above) and
are a closed form, so that the tests need no heat solver.
"""

from dataclasses import dataclass

import numpy as np

from canalwright.anatomy.lumen import Lumen, Portal
from canalwright.instruments import Carrier, Cone, Needle, Plugger, Profile
from canalwright.protocol import Act, Bite, Heat, Inject, Pause, Place, Press, Protocol, Sear
from canalwright.quantities import Reading

BODY = 35.0
TOP = 14.0


@dataclass(frozen=True)
class Story:
    time: np.ndarray
    z: np.ndarray
    axis: np.ndarray
    surface: np.ndarray


def lumen(size: float = 0.35, taper: float = 0.06, oval: float = 1.0, wall: float = 1.4, top: float = TOP) -> Lumen:
    """A straight canal, `oval` times as wide one way as the other."""
    z = np.arange(0, top + 0.05, 0.1)
    minor = size + taper * z
    major = minor * oval
    centre = np.column_stack([0 * z, 0 * z, z])
    axis = np.tile([1.0, 0.0, 0.0], (len(z), 1))
    return Lumen(z, minor, major, centre, axis, np.full(len(z), wall), np.pi / 4 * minor * major)


def lateral(z: float, diameter: float = 0.1, length: float = 1.2, kind: str = "lateral canal") -> Portal:
    return Portal(z, Reading(diameter, 0.02, "mm", least=0.02), kind, "mesial", length)


CONE = Cone("35/06", Profile.uniform(0.33, 0.06))
CARRIER = Carrier("medium", Profile.uniform(0.5, 0.06))
NEEDLE = Needle("23 gauge", 23, 0.641, 0.337)


def plugger(tip: float, taper: float = 0.02) -> Plugger:
    return Plugger(f"{tip:.2f}", Profile.uniform(tip, taper))


def protocol(force: float = 20.0, hold: float = 5.0, last: float = 10.0, snug: float = 0.9, size: float = 0.35,
             taper: float = 0.06, tip: float = 0.5, cone: Cone = CONE, loads: bool = True) -> Protocol:  # fmt: skip
    """Three rounds to 5 mm and three portions; each plugger `snug` times as wide as the canal at its stop."""
    acts: list[Act] = [Place(cone, tip), Sear(CARRIER, TOP, 200.0)]
    for bite, stop in ((10.5, 9.8), (7.8, 7.2), (5.6, 5.0)):
        acts += [Heat(CARRIER, stop + 0.5, 200.0, 3.0, 1.5), Bite(bite), Pause(2.0)]
        if loads:
            acts.append(Press(plugger(snug * (size + taper * stop), 0.0), stop, force, last if stop == 5.0 else hold))
        acts.append(Pause(6.0))
    for bottom, top in ((5.0, 8.0), (8.0, 11.0), (11.0, 14.0)):
        acts += [Inject(NEEDLE, bottom, top, 80.0, 4.0)]
        if loads:
            acts.append(Press(plugger(snug * (size + taper * top), 0.0), top, force, hold))
        acts.append(Pause(5.0))
    return Protocol(tuple(acts))


def temperatures(canal: Lumen, plan: Protocol, warm: float = 1.0, every: float = 0.1) -> Story:
    """Each source leaves exp(-distance/3 mm), rising at once and falling with 8 s; injected portions start at 75 C."""
    time = np.arange(0, plan.seconds + 60.0, every)
    axis = np.full((len(time), len(canal.z)), BODY)
    for begin, end, act in plan.timed():
        after = np.maximum(time - end, 0)[:, None]
        on = (time >= begin)[:, None]
        if isinstance(act, Heat):
            place = np.exp(-np.maximum(act.stop - canal.z, 0) / 3.0)
            axis += on * 55.0 * warm * place * np.exp(-after / 8.0) * np.clip((time - begin) / 3, 0, 1)[:, None]
        if isinstance(act, Inject):
            inside = (canal.z >= act.bottom - 0.3) & (canal.z <= act.top)
            axis += on * 38.0 * warm * inside * np.exp(-after / 6.0)
    return Story(time, canal.z, axis, BODY + 0.35 * (axis - BODY))
