"""Gutta-percha past the terminus: how likely, how far, and what brings it there.

The apical plug passes the foramen when the pressure at the cone's tip exceeds what draws it in
(4 tau_y ln(cone tip / foramen), nothing for a cone that is thinner than the foramen) and what holds it
along the way. The cause is found by asking again with one thing mended at a time: half the force, an apical
third kept below the freezing range, a small foramen, a cone that holds. The greatest relief names the cause.

Left out: a cone pushed through as a whole, tissue that gives way or resists, resorbed apices.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.lumen import Lumen, Portal
from canalwright.compaction.story import Temperatures, simulate_many
from canalwright.instruments import Profile
from canalwright.protocol import Place, Press, Protocol
from canalwright.quantities import Quantity, Sample

Array = NDArray[np.float64]
SMALL_FORAMEN, COOL, APICAL = 0.25, 40.0, 4.0
WORTH = 0.1  # mm past the terminus that is worth a word


@dataclass(frozen=True)
class Cause:
    """What would bring the risk down: `mended` in words, the `chance` that is left with it and the relief in mm."""

    name: str
    mended: str
    chance: Quantity
    relief: float


@dataclass(frozen=True)
class Extrusion:
    """Chance (share of draws) of more than 0.1 mm past the terminus, its length [mm], and causes, greatest relief first."""

    chance: Quantity
    length: Quantity
    causes: tuple[Cause, ...]

    @property
    def cause(self) -> str:
        """The leading cause in words, empty when there is no risk to speak of."""
        return self.causes[0].name if self.causes and self.causes[0].relief > 0 else ""


@dataclass(frozen=True)
class _Cooled:
    time: Array
    z: Array
    axis: Array
    surface: Array


def extrusion(
    lumen: Lumen,
    portals: Sequence[Portal],
    protocol: Protocol,
    heat_story: Temperatures,
    sample: Sample,
    *,
    foramen: float | None = None,
    film: float = 0.03,
) -> Extrusion:
    """Risk and cause of gutta-percha past the terminus, over the draws of `sample`."""

    def beyond(plan: Protocol, story: Temperatures, width: float | None) -> Array:
        return simulate_many(lumen, portals, plan, story, sample, foramen=width, film=film).gutta_beyond

    now = beyond(protocol, heat_story, foramen)
    length, chance = sample.summarise(now, "mm"), _chance(now)
    if now.max() <= WORTH:
        return Extrusion(chance, length, ())
    width = foramen if foramen is not None else float(lumen.minor[0])
    tries = [
        ("hard press", "half the force", beyond(_softer(protocol), heat_story, foramen)),
        ("deep heat", f"the apical {APICAL:.0f} mm below {COOL:.0f} C", beyond(protocol, _cooled(heat_story), foramen)),
        ("large foramen", f"a foramen of {SMALL_FORAMEN} mm", beyond(protocol, heat_story, min(width, SMALL_FORAMEN))),
        ("loose cone", "a cone as wide as the canal at its tip", beyond(_snug(protocol, lumen), heat_story, foramen)),
    ]
    causes = [Cause(name, mended, _chance(less), float(now.mean() - less.mean())) for name, mended, less in tries]
    return Extrusion(chance, length, tuple(sorted(causes, key=lambda c: -c.relief)))


def _chance(beyond: Array) -> Quantity:
    draws = beyond[1:] if len(beyond) > 1 else beyond
    return Quantity.share(float((draws > WORTH).mean()), len(draws))


def _softer(protocol: Protocol) -> Protocol:
    return Protocol(
        tuple(replace(act, force=act.force / 2) if isinstance(act, Press) else act for act in protocol.acts)
    )


def _cooled(story: Temperatures) -> _Cooled:
    low = story.z <= APICAL
    axis = np.where(low[None, :], np.minimum(story.axis, COOL), story.axis)
    return _Cooled(story.time, story.z, axis, np.minimum(story.surface, np.maximum(axis, story.surface.min())))


def _snug(protocol: Protocol, lumen: Lumen) -> Protocol:
    def wider(act: Place) -> Place:
        tip = max(act.cone.profile.tip, lumen.at(act.tip, lumen.minor))
        old = act.cone.profile
        profile = Profile(old.at, tuple(max(d, tip) for d in old.diameter))
        return replace(act, cone=replace(act.cone, profile=profile))

    return Protocol(tuple(wider(act) if isinstance(act, Place) else act for act in protocol.acts))
