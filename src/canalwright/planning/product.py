"""`Plan`: the product of the planner, everything that the card and the chair need.

Stops are depths from the reference point (what the rubber stop shows), as `Quantity` in mm.
"""

from dataclasses import dataclass, field
from enum import IntEnum
from typing import TYPE_CHECKING

from canalwright.anatomy.canal import Canal, Lumen
from canalwright.compaction import CompactionSummary, Extrusion
from canalwright.hazards import caution
from canalwright.instruments import Carrier, Cone, Needle, PaperPoint, Plugger, Sealer, Tray
from canalwright.protocol import Protocol
from canalwright.quantities import Quantity
from canalwright.readiness import Readiness

if TYPE_CHECKING:
    from canalwright.planning.planner import Workings


class Harm(IntEnum):
    """How much harm a finding warns of; findings are ranked by it, worst first."""

    NOTE = 1
    DOUBT = 2
    CAUTION = 3
    DANGER = 4


@dataclass(frozen=True)
class Finding:
    """Something the clinician should know: what was found, and what to do about it."""

    harm: Harm
    code: str
    message: str
    action: str
    quantity: Quantity | None = None


@dataclass(frozen=True)
class Choices:
    """What the clinician may choose; None leaves it to the planner. Temperatures deg C, times s, lengths mm.

    `wall_change` and `width_change` [mm] serve the what-if: they are added to the measured wall and width.
    """

    cone: str | None = None
    trim: float | None = None
    carrier: str | None = None
    temperature: float | None = None
    activation: float | None = None
    pluggers: tuple[str, str, str] | None = None
    force: float = 20.0
    rounds: int | None = None
    hold: float | None = None
    last_hold: float | None = None
    pause: float = 8.0
    sealer: str | None = None
    backfill_temperature: float = 80.0
    wall_change: float = 0.0
    width_change: float = 0.0
    draws: int = 1000
    seed: int = 20


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


@dataclass(frozen=True)
class Plan:
    """Everything computed for one canal and one tray; `readiness` where a record of what came before was given."""

    canal: Canal
    tray: Tray
    choices: Choices
    lumen: Lumen
    cone: ConePlan
    paper_point: PaperPoint | None
    pluggers: tuple[PluggerPlan, ...]
    carrier: Carrier
    sealer: Sealer | None
    reaches: tuple[Reach, ...]
    rounds: tuple[Round, ...]
    portions: tuple[Portion, ...]
    backfill_top: Quantity
    backfill_reason: str
    heat: HeatSummary
    fill: CompactionSummary
    extrusion: Extrusion
    sealer_volume: Quantity
    protocol: Protocol
    findings: tuple[Finding, ...]
    supposed: float
    leading: tuple[tuple[str, float], ...] = ()
    versions: dict[str, str] = field(default_factory=dict)
    readiness: Readiness | None = None
    workings: "Workings | None" = field(default=None, repr=False, compare=False)

    @property
    def worst(self) -> Harm:
        """The worst harm among the findings; NOTE when there is none."""
        return max((f.harm for f in self.findings), default=Harm.NOTE)


CAUTION = caution()
"""The standing caution of every screen, card and file with a clinical number; it stands in the hazard file."""
