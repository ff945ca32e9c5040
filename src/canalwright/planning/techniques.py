"""The same canal filled three ways, for the teacher: warm as planned, with a single cone, and cold laterally.

Also what the doubt about the warm filling rests on, by Sobol indices (Saltelli et al. 2008): slower than the regression shares on the
plan, and free of their assumption that everything acts in proportion.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from canalwright import compaction, heat
from canalwright.compaction import CompactionStory, Fill
from canalwright.planning.moved import FILM, readings
from canalwright.planning.product import Plan
from canalwright.protocol import Place
from canalwright.quantities import Quantity, Sample, draw

Array = NDArray[np.float64]
DRAWS = 128


@dataclass(frozen=True)
class Technique:
    """Shares of the filled volume, and for each side branch the share of its length that anything fills."""

    name: str
    gutta: Quantity
    sealer: Quantity
    void: Quantity
    branches: tuple[Quantity, ...]


def compare(plan: Plan) -> tuple[Technique, ...]:
    """Warm vertical compaction as planned, single cone and cold lateral filling of the plan's canal with its own cone."""
    sample = draw(readings(plan.canal, plan.sealer), DRAWS, plan.choices.seed)
    film = plan.sealer.film_thickness if plan.sealer else FILM
    canal, place = plan.canal, plan.protocol.acts[0]
    assert isinstance(place, Place)
    warm = _warm(plan, sample, film)
    cold = [
        fill(plan.lumen, canal.portals, place, sample, film=film, sealed=plan.sealer is not None, foramen=canal.foramen)
        for fill in (compaction.single_cone, compaction.cold_lateral)
    ]
    count = range(len(canal.portals))
    return (
        _told("warm vertical", warm.fill, [warm.filled(i) for i in count], sample),
        *(_told(c.name, c.fill, [c.filled(i) for i in count], sample) for c in cold),
    )


def doubts(plan: Plan, points: int = 64) -> tuple[str, ...]:
    """One sentence for each output of the warm filling: which measurement or habit most of its doubt comes from."""
    film = plan.sealer.film_thickness if plan.sealer else FILM
    warmth = heat.simulate(plan.lumen, plan.protocol, every=0.25)
    canal = plan.canal

    def run(sample: Sample) -> CompactionStory:
        return compaction.simulate_many(
            plan.lumen, canal.portals, plan.protocol, warmth, sample, foramen=canal.foramen, film=film
        )

    outputs: dict[str, Callable[[CompactionStory], Array]] = {
        "the voids": lambda s: s.fill.share("void"),
        "the stress in the root": lambda s: s.stress_ratio,
    }
    for i, portal in enumerate(canal.portals):
        outputs[f"the {portal.kind} at {portal.z:.0f} mm"] = partial(_gutta_into, i)
    given = compaction.readings(plan.sealer.kind if plan.sealer else "other", canal.portals)
    found = compaction.sensitivities(run, given, outputs, points, plan.choices.seed)
    return tuple(s.sentence for s in found if s.sentence)


def _gutta_into(portal: int, story: CompactionStory) -> Array:
    return np.asarray(np.minimum(story.gutta_length[:, portal + 1], story.branch_length[portal + 1]))


def _warm(plan: Plan, sample: Sample, film: float) -> CompactionStory:
    warmth = heat.simulate(plan.lumen, plan.protocol, every=0.25)
    return compaction.simulate_many(
        plan.lumen, plan.canal.portals, plan.protocol, warmth, sample,
        foramen=plan.canal.foramen, film=film, sealed=plan.sealer is not None,
    )  # fmt: skip


def _told(name: str, fill: Fill, branches: list[Array], sample: Sample) -> Technique:
    gutta, sealer, void = (sample.summarise(fill.share(part), "") for part in ("gutta", "sealer", "void"))
    return Technique(name, gutta, sealer, void, tuple(sample.summarise(b, "") for b in branches))
