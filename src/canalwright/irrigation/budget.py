"""A contact-time budget that a chair can follow: which solution, how long, how often fresh.

Time: that for the deepest pocket which can be done within `most` (see `dissolve`); what cannot is said. Fresh solution: tissue uses
up n mg of hypochlorite per mm3, and the canal holds C mg per mm3 of itself; no more than half of a filling is let be used
up: fillings = n tissue / (C canal / 2). Between fillings no more than `STALE` s, for dentine uses some up too (common practice).
The rest of the sequence, chelator 60 s and a last rinse, is the trade's usual one; any may be changed.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from canalwright.anatomy.canal import Canal
from canalwright.irrigation.dissolve import Bath, dissolution_time, dissolved
from canalwright.irrigation.figures import figure
from canalwright.irrigation.pockets import Pocket, pockets
from canalwright.quantities import Quantity
from canalwright.shaping import shaped

Ask = Literal["value", "high"]
MOST, LEAST = 1800.0, 300.0
STALE = 120.0
LAST_RINSE = 60.0
FILL = 1.0
"""Solution for one filling, mL: the canal holds a hundredth of it (common practice)."""


@dataclass(frozen=True)
class Contact:
    """One step for the chair: solution, strength [%] (None where it has none), seconds in the canal, fresh every so many seconds.

    `volume` mL in all; `act` what to do in words, `why` the reason.
    """

    solution: str
    percent: float | None
    seconds: float
    fresh_every: float
    volume: float
    act: str
    why: str

    @property
    def fillings(self) -> int:
        """How often the canal is filled in this step."""
        return max(int(np.ceil(self.seconds / self.fresh_every - 1e-9)), 1)


@dataclass(frozen=True)
class Reached:
    """A pocket and what the budget does to it: time it needs [s], depth dissolved in the time given [mm], chance of all of it."""

    pocket: Pocket
    needs: Quantity
    dissolved: Quantity
    done: bool


@dataclass(frozen=True)
class Budget:
    """Steps in order, what they do to every pocket, and the time of all [s]."""

    bath: Bath
    contacts: tuple[Contact, ...]
    reached: tuple[Reached, ...]
    warnings: tuple[str, ...]

    @property
    def seconds(self) -> float:
        """Time of all steps."""
        return sum(c.seconds for c in self.contacts)

    @property
    def order(self) -> tuple[str, ...]:
        """Solutions in order."""
        return tuple(c.solution for c in self.contacts)

    @property
    def dissolving(self) -> float:
        """Seconds of hypochlorite before the chelator."""
        return self.contacts[0].seconds


def budget(canal: Canal, bath: Bath | None = None, *, most: float = MOST, ask: Ask = "value") -> Budget:
    """The budget for one shaped canal; `ask` "high" plans for the slow end of the interval.

    At least 5 min of hypochlorite, at most `most` seconds. Raises ValueError for a `most` under 60 s.
    """
    if most < 60:
        raise ValueError(f"at most {most} s of contact leaves no time for anything: allow 60 s or more")
    bath = bath or Bath()
    found = pockets(canal)
    needs = [dissolution_time(p.depth, bath) for p in found]
    wanted = [q.high if ask == "high" else q.value for q in needs]
    within = [s for s in wanted if s <= most]
    # What cannot be done in the time is given the time, for it gets shorter; see `warnings`.
    seconds = most if any(s > most for s in wanted) else max([LEAST, *within])
    seconds = float(np.ceil(min(max(seconds, min(LEAST, most)), most) / 30) * 30)
    fresh = _fresh(canal, bath, found, seconds)
    depth = dissolved(seconds, bath)
    reached = tuple(
        Reached(p, q, _part(depth, p.depth), depth.value >= p.depth - 1e-9) for p, q in zip(found, needs, strict=True)
    )
    return Budget(bath, _steps(bath, seconds, fresh), reached, tuple(_warnings(bath, reached, seconds)))


def _part(depth: Quantity, most: float) -> Quantity:
    value, low, high = (min(v, most) for v in (depth.value, depth.low, depth.high))
    return Quantity(value, low, high, "mm", depth.source, depth.supposed, depth.leading)


def _fresh(canal: Canal, bath: Bath, found: tuple[Pocket, ...], seconds: float) -> float:
    lumen = shaped(canal)
    held = bath.percent / 100 * float(np.trapezoid(np.where(lumen.z >= canal.end, lumen.area, 0.0), lumen.z))
    used = figure("dissolve", "demand").value * sum(p.volume for p in found)
    fillings = max(used / (held / 2), seconds / STALE)
    return float(max(seconds / np.ceil(fillings), 10.0))


def _steps(bath: Bath, seconds: float, fresh: float) -> tuple[Contact, ...]:
    enough = figure("chelator", "enough").value
    rounds = max(int(np.ceil(seconds / fresh)), 1)
    moved = "" if bath.agitation == "none" else f", {bath.agitation} agitation each time"
    return (
        Contact(
            "hypochlorite", bath.percent, seconds, fresh, rounds * FILL,
            f"fill, leave {fresh:.0f} s, fill again: {rounds} times{moved}", "dissolves tissue in fins and branches",
        ),
        Contact("saline", None, 15.0, 15.0, 2 * FILL, "rinse", "keeps hypochlorite and chelator apart"),
        Contact(
            "EDTA", 17.0, enough, enough, FILL, f"fill and leave {enough:.0f} s, not longer than 3 min",
            "takes the smear layer; 10 min would erode the wall",
        ),
        Contact("saline", None, 15.0, 15.0, 2 * FILL, "rinse", "keeps chelator and hypochlorite apart"),
        Contact("hypochlorite", bath.percent, LAST_RINSE, LAST_RINSE, 2 * FILL, "last rinse", "reaches what the chelator opened"),
        Contact("saline", None, 15.0, 15.0, 2 * FILL, "rinse, then dry", "leaves nothing that reacts with the sealer"),
    )  # fmt: skip


def _warnings(bath: Bath, reached: tuple[Reached, ...], seconds: float) -> list[str]:
    found = []
    for one in reached:
        if not one.done:
            found.append(
                f"{one.pocket.name} {one.pocket.depth:.1f} mm deep, {one.pocket.z:.1f} mm from the terminus: in "
                f"{seconds / 60:.0f} min {one.dissolved.format(1)} of it dissolve; all of it would take "
                f"{one.needs.value / 60:.0f} min ({one.needs.low / 60:.0f} to {one.needs.high / 60:.0f})"
            )
    if found and bath.agitation == "none":
        found.append("agitate with ultrasound: it dissolved 4.6 times as deep in one study")
    return found
