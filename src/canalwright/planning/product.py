"""`Plan`: the product of the planner, everything that the card and the chair need."""

from dataclasses import dataclass, field

from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Lumen
from canalwright.compaction import CompactionSummary, Extrusion
from canalwright.hazards import caution
from canalwright.instruments import Carrier, PaperPoint, Sealer, Tray
from canalwright.planning.choices import Choices
from canalwright.planning.parts import ConePlan, Finding, Harm, HeatSummary, PluggerPlan, Portion, Reach, Round
from canalwright.planning.workings import Workings
from canalwright.protocol import Protocol
from canalwright.quantities import Quantity
from canalwright.readiness import Readiness


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
    workings: Workings | None = field(default=None, repr=False, compare=False)

    @property
    def worst(self) -> Harm:
        """The worst harm among the findings; NOTE when there is none."""
        return max((f.harm for f in self.findings), default=Harm.NOTE)


CAUTION = caution()
"""The standing caution of every screen, card and file with a clinical number; it stands in the hazard file."""
