"""`simulate`: what will happen when the plan is carried out."""

from dataclasses import dataclass

from canalwright import compaction, heat
from canalwright.compaction import CompactionStory
from canalwright.heat import HeatStory
from canalwright.planning.product import Plan


@dataclass(frozen=True)
class Story:
    """The filling over time: temperatures and melt front (`heat`), pressure and fill (`compaction`), nominal values."""

    heat: HeatStory
    compaction: CompactionStory


def simulate(plan: Plan, *, every: float = 0.1) -> Story:
    """Run the plan's protocol; `every` is the least time between frames, s."""
    warmth = heat.simulate_flat_side(plan.lumen, plan.protocol, every=every)
    film = plan.sealer.film_thickness if plan.sealer else 0.03
    moved = compaction.simulate(
        plan.lumen,
        plan.canal.portals,
        plan.protocol,
        warmth,
        foramen=plan.canal.foramen,
        film=film,
        sealed=plan.sealer is not None,
    )
    return Story(warmth, moved)
