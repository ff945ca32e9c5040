"""Rounds whose plugger does not get through the surface that the bite leaves, or hardly: what the plan says of them.

The planner lays its own rounds so that there is none (`downpack.pressed_there`) where the tray allows it; a plugger named by hand,
a tray without a thin one and a carrier that goes no deeper can leave one.
"""

import math
from collections.abc import Iterator

from canalwright.planning import practice
from canalwright.planning.parts import Finding, Harm
from canalwright.planning.product import Plan
from canalwright.protocol.acts import TOUCH
from canalwright.quantities import Origin, Quantity, Source
from canalwright.readiness import Number

_BOTH_STOPS = Source(Origin.ASSUMED, "error of setting a stop, carrier and plugger each by itself: common practice")


def unpressed(plan: Plan) -> Iterator[Finding]:
    """A caution for each round in which nothing is pressed, a doubt where the error of the two stops decides it."""
    for r in plan.rounds:
        packs = r.plugger_stop.value - (r.carrier_stop.value - practice.LEFT_BY_BITE)
        carrier = r.plugger_stop.value - practice.SETTLE + practice.LEFT_BY_BITE
        mend = f"use a narrower or elastic plugger, or stop the carrier at {carrier:.1f} mm in this round"
        rests = (Number("carrier stop", r.carrier_stop),)
        if packs < -TOUCH:
            yield Finding(
                Harm.CAUTION, "press-out-of-reach",
                f"in round {r.number} plugger {r.plugger.name} stops {-packs:.1f} mm above the softened surface: nothing is pressed",
                mend, r.plugger_stop, rests,
            )  # fmt: skip
        elif packs < TOUCH - 1e-6:
            missed = 1 - reached(packs)
            yield Finding(
                Harm.DOUBT, "press-hardly-reaches",
                f"in round {r.number} plugger {r.plugger.name} packs the softened surface by {max(packs, 0.0):.1f} mm, not by "
                f"{practice.SETTLE:.1f} mm: as stops are set, {missed:.0%} of such presses do not get to it",
                mend, r.plugger_stop, (*rests, Number("share of such presses that miss", Quantity.exact(missed, "", _BOTH_STOPS))),
            )  # fmt: skip


def reached(packs: float) -> float:
    """Share of the fillings in which a plugger set to end `packs` mm below a surface gets to it: both stops err, each by itself."""
    return 0.5 * (1 + math.erf(packs / (2 * practice.STOP_ERROR)))
