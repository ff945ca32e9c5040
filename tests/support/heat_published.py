"""Published bench experiments, re-created from their stated conditions. Teeth are invented within the anatomy that they name.

What a paper does not state is the same throughout: still air round an extracted root (15 W/(m2 K)), a carrier with a tip of
0.5 mm and 6 per cent taper, an activation of 3 s, a bath of 500 W/(m2 K).
"""

from functools import cache

import numpy as np

from canalwright.heat import HeatStory, Materials, Surroundings, simulate
from canalwright.heat.example import lumen
from canalwright.instruments import Carrier, Cone, Needle, Plugger, Profile
from canalwright.protocol import Act, Bite, Heat, Inject, Pause, Place, Press, Protocol, Sear

AIR, COOL_AIR, BATH = Surroundings.film(15.0), Surroundings.film(15.0, 23.0), Surroundings.film(500.0)
PLUGGER = Plugger("narrow", Profile.uniform(0.5, 0.04))
NEEDLE = Needle("needle", 23, 0.64, 0.33)


def carrier(tip: float = 0.5, taper: float = 0.06) -> Carrier:
    return Carrier("carrier", Profile.uniform(tip, taper))


def single_wave(
    stop: float, temperature: float, seconds: float = 3.0, tip: float = 0.5, taper: float = 0.06
) -> Protocol:
    """One wave to `stop`, ten seconds cold, a burst of a second, out, press."""
    acts = (
        Heat(carrier(tip, taper), stop, temperature, seconds, 2.5, 10.0),
        Bite(stop + 0.5, 1.0, 2.0),
        Press(PLUGGER, stop, 20.0, 10.0),
        Pause(60.0),
    )
    return Protocol(acts)


def surface_rise(story: HeatStory, z: float) -> float:
    return float(np.interp(z, story.z, story.peak_rise))


def filling_peak(story: HeatStory, z: float) -> float:
    """Greatest temperature of the filling at `z` while no instrument stands there."""
    k = int(np.argmin(np.abs(story.z - z)))
    tip = np.fmin(np.nan_to_num(story.carrier_tip, nan=99.0), np.nan_to_num(story.plugger_tip, nan=99.0))
    free = (tip > z + 0.3) & (story.top > z + 0.1)
    return float(story.axis[free, k].max())


@cache
def air_wave(root: float = 2.6, seconds: float = 3.0, temperature: float = 300.0) -> HeatStory:
    return simulate(lumen(root=root), single_wave(3.0, temperature, seconds), surroundings=AIR)


@cache
def bath_wave() -> HeatStory:
    canal = lumen(16.0, 0.25, 0.05, root=2.4)
    return simulate(canal, single_wave(4.0, 250.0, tip=0.4, taper=0.04), surroundings=BATH)


@cache
def far_tip() -> HeatStory:
    """A cone at room temperature, the carrier's tip 3 mm short of it; the block is at 35 deg C."""
    cone = Cone("cone", Profile.uniform(0.4, 0.06))
    acts = (Place(cone, 0.0, 60.0), *single_wave(3.0, 200.0).acts)
    return simulate(lumen(root=4.0), Protocol(acts), surroundings=Surroundings.film(15.0, 35.0))


@cache
def ten_kelvin(root: float = 2.0) -> float:
    """Seconds of activation, carrier at 5 mm, until the surface there is 10 K warmer."""
    acts = (Heat(carrier(), 5.0, 200.0, 30.0, 3.0, 0.0),)
    story = simulate(lumen(16.0, 0.3, 0.06, root=root), Protocol(acts), surroundings=COOL_AIR)
    rise = story.surface[:, 50] - story.surface[0, 50]
    return float(np.interp(10.0, rise, story.time)) if rise.max() > 10 else float("inf")


@cache
def many_waves() -> HeatStory:
    """Eight rounds in five minutes, the deepest to 6 mm."""
    acts: list[Act] = [Sear(carrier(), 14.0, 250.0, 1.0), Press(PLUGGER, 13.5, 20.0, 10.0)]
    for stop in range(13, 5, -1):
        acts += [
            Heat(carrier(), stop, 250.0, 3.0, 2.0, 0.5),
            Bite(stop + 0.5, 0.0, 1.0),
            Press(PLUGGER, stop, 20.0, 15.0),
            Pause(15.0),
        ]
    return simulate(lumen(root=2.6), Protocol((*acts, Pause(30.0))), surroundings=AIR)


@cache
def portion(
    temperature: float, root: float, surroundings: Surroundings, tip: float = 0.5, taper: float = 0.06
) -> HeatStory:
    acts = (Inject(NEEDLE, 1.0, 12.0, temperature, 4.0), Pause(60.0))
    return simulate(lumen(16.0, tip, taper, root=root), Protocol(acts), surroundings=surroundings)


@cache
def bare_tip(taper: float) -> HeatStory:
    """The carrier switched on in the open, in a wide empty tube."""
    acts = (Bite(0.2, 0.0, 0.0), Heat(carrier(0.5, taper), 2.0, 200.0, 10.0, 0.0, 0.0))
    return simulate(lumen(14.0, 3.0, 0.0, wall=1.0), Protocol(acts), surroundings=COOL_AIR)


@cache
def in_polymer() -> HeatStory:
    """The carrier in a block of polytetrafluoroethylene (0.25 W/(m K), 2.2e6 J/(m3 K)) at 23 deg C."""
    block = Materials.of(
        {
            "gp_conductivity": 0.25, "gp_capacity": 2.2e6, "gp_latent": 0.0, "sealer_resistance": 0.0,
            "dentine_conductivity": 0.25, "dentine_capacity": 2.2e6,
        }
    )  # fmt: skip
    acts = (Heat(carrier(), 2.0, 200.0, 10.0, 0.0, 0.0),)
    return simulate(lumen(14.0, 0.5, 0.06, wall=5.0), Protocol(acts), materials=block, surroundings=COOL_AIR)
