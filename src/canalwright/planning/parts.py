"""The parts of a plan: findings, cone, pluggers, rounds, portions, heat.

Stops are depths from the reference point (what the rubber stop shows), as `Quantity` in mm.
"""

from dataclasses import dataclass
from enum import IntEnum

from canalwright.instruments import Cone, Needle, Plugger
from canalwright.quantities import Quantity
from canalwright.readiness import Number


class Harm(IntEnum):
    """How much harm a finding warns of; findings are ranked by it, worst first."""

    NOTE = 1
    DOUBT = 2
    CAUTION = 3
    DANGER = 4


@dataclass(frozen=True)
class Finding:
    """Something the clinician should know: what was found, and what to do about it.

    `quantity` is the number that it turns on; `rests` has by name what else the message speaks of, and that one where no other part of a
    plan names it.
    """

    harm: Harm
    code: str
    message: str
    action: str
    quantity: Quantity | None = None
    rests: tuple[Number, ...] = ()


@dataclass(frozen=True)
class TrimRow:
    """One line of the trim table: cut `trim` mm and the tip is `tip` mm wide and seats at `seat`."""

    trim: float
    tip: float
    seat: Quantity
    chance: Quantity


@dataclass(frozen=True)
class ConePlan:
    """The master cone: where it seats, over what length it is tight, how much to cut.

    `seat` is depth of the tip from the reference point; `short` the distance from the seated tip to
    the end of the working length (negative: beyond); `chance` that it seats within 0.5 mm of it.
    """

    cone: Cone
    trim: Quantity
    seat: Quantity
    short: Quantity
    tug_back: Quantity
    chance: Quantity
    table: tuple[TrimRow, ...]


@dataclass(frozen=True)
class PluggerPlan:
    """One of the three pluggers: its place, deepest passive depth (`reach`) and its stop (short of it)."""

    part: str
    plugger: Plugger
    reach: Quantity
    stop: Quantity
    short_of_end: Quantity


@dataclass(frozen=True)
class Round:
    """One heat-and-press cycle of the downpack, as the chair shows it.

    `carrier_stop`, `plugger_stop`, `front` are depths [mm]; `bite` the length of gutta-percha removed;
    `hold` seconds of press; `surface_rise` greatest rise on the root surface so far [K].
    """

    number: int
    carrier_stop: Quantity
    activation: Quantity
    bite: Quantity
    plugger: Plugger
    plugger_stop: Quantity
    hold: Quantity
    front: Quantity
    surface_rise: Quantity


@dataclass(frozen=True)
class Portion:
    """One increment of the backfill: between depths `bottom` and `top`, `volume` mm3, needle at `needle_stop`."""

    number: int
    needle: Needle
    needle_stop: Quantity
    bottom: Quantity
    top: Quantity
    volume: Quantity
    resoften: Quantity
    plugger: Plugger
    hold: Quantity


@dataclass(frozen=True)
class Reach:
    """Deepest passive depth of one instrument of the tray and what stops it there."""

    kind: str
    name: str
    depth: Quantity
    short_of_end: Quantity
    stopped_by: str


@dataclass(frozen=True)
class HeatSummary:
    """What the heat model says of the whole protocol.

    Temperatures and rises at the root surface; `margin` = 10 K less the greatest rise; `apical` the
    greatest temperature of the gutta-percha at the end of the working length; `longest_activation`
    the longest safe activation of the deepest round.
    """

    surface_rise: Quantity
    surface_level: Quantity
    above_47: Quantity
    cem43: Quantity
    margin: Quantity
    longest_activation: Quantity
    apical: Quantity
