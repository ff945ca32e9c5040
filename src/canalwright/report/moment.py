"""One moment of a simulated filling, as the section shows it."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Self, cast

import numpy as np

from canalwright.anatomy.lumen import Array
from canalwright.instruments import Carrier, Plugger
from canalwright.planning.product import Plan
from canalwright.protocol import Heat, Inject, Press
from canalwright.quantities import Quantity
from canalwright.report.marks import Kind, Mark
from canalwright.report.words import act_words

if TYPE_CHECKING:
    from canalwright.heat import HeatStory
    from canalwright.planning.story import Story


@dataclass(frozen=True)
class Moment:
    """State at `time` s: temperatures [deg C] on the axis and the root surface at stations `z`, all shape (n,).

    `top` level of the filling's top, `front` deepest soft place, `carrier_tip` and `plugger_tip` the instruments' tips
    [z, mm]; NaN for what is not there. `words` says what is being done; `backfilled` holds from the first portion on.
    """

    time: float
    words: str
    z: Array
    axis: Array
    surface: Array
    top: float
    front: float
    carrier_tip: float = float("nan")
    plugger_tip: float = float("nan")
    carrier: Carrier | None = None
    plugger: Plugger | None = None
    backfilled: bool = False

    @classmethod
    def of(cls, plan: Plan, story: "Story | HeatStory", time: float) -> Self:
        """The frame of a story at or just before `time` s."""
        story = heat_of(story)
        i = story.at(time)
        act = story.acts[int(story.act[i])].act
        earlier = [a.act for a in story.acts[: int(story.act[i]) + 1]]
        carriers = [a.carrier for a in earlier if isinstance(a, Heat)]
        return cls(
            time=float(story.time[i]),
            words=act_words(act, plan.canal),
            z=story.z,
            axis=story.axis[i],
            surface=story.surface[i],
            top=float(story.top[i]),
            front=float(story.front[i]),
            carrier_tip=float(story.carrier_tip[i]),
            plugger_tip=float(story.plugger_tip[i]),
            carrier=carriers[-1] if carriers else plan.carrier,
            plugger=act.plugger if isinstance(act, Press) else None,
            backfilled=any(isinstance(a, Inject) for a in earlier),
        )

    @property
    def soft(self) -> bool:
        """Whether any of the filling is soft."""
        return bool(self.front < self.top - 0.05)

    def marks(self, length: float) -> list[Mark]:
        """What to point at now; the numbers are of the one run that was simulated, so they carry no interval."""
        places: tuple[tuple[str, Kind, str, float], ...] = (
            ("carrier-now", "carrier", "carrier tip", self.carrier_tip),
            ("plugger-now", "plugger", "plugger tip", self.plugger_tip),
            ("top-now", "cone", "top of filling", self.top),
            ("front-now", "front", "soft down to", self.front if self.soft else float("nan")),
        )
        return [
            Mark(key, kind, words, Quantity.exact(length - z, "mm")) for key, kind, words, z in places if np.isfinite(z)
        ]


def heat_of(story: "Story | HeatStory") -> "HeatStory":
    """The temperatures of a story, whether it tells of the compaction too or not."""
    inner: HeatStory | None = getattr(story, "heat", None)
    return inner if inner is not None else cast("HeatStory", story)
