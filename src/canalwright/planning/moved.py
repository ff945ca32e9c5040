"""What the compaction model is asked: how the branches fill, what may pass the terminus, how near the root comes to its strength."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from canalwright import compaction
from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Lumen
from canalwright.compaction import CompactionStory, CompactionSummary, Extrusion
from canalwright.heat import HeatStory
from canalwright.instruments import Sealer
from canalwright.planning.choices import Choices
from canalwright.protocol import Protocol
from canalwright.quantities import Reading, Sample, draw

FILL_DRAWS, QUICK_DRAWS = 128, 32
FILM = 0.03
LEAST_WALL = 0.05


@dataclass(frozen=True)
class Moved:
    """What the press moves, in quantities, and the risk of gutta-percha past the terminus."""

    summary: CompactionSummary
    extrusion: Extrusion


def move(
    canal: Canal,
    lumen: Lumen,
    protocol: Protocol,
    story: HeatStory,
    sealer: Sealer | None,
    choices: Choices,
    known: Extrusion | None = None,
) -> Moved:
    """Play the protocol with the nominal temperatures for many draws of the material, the hand, the branches and the wall.

    `known`: the risk at the terminus as it was; it is then not asked for again, and fewer draws are made (a quick answer).

    Leaves out: the spread of the temperatures themselves (`heat.warmth` stands for it in the compaction model).
    """
    played, sample = _played(canal, lumen, protocol, story, sealer, choices, QUICK_DRAWS if known else FILL_DRAWS)
    risk = known or compaction.extrusion(
        lumen,
        canal.portals,
        protocol,
        story,
        sample,
        foramen=canal.foramen,
        film=sealer.film_thickness if sealer else FILM,
    )
    return Moved(compaction.summarise(played, sample), risk)


def pressed(
    canal: Canal,
    lumen: Lumen,
    protocol: Protocol,
    story: HeatStory,
    sealer: Sealer | None,
    choices: Choices,
    draws: int,
) -> CompactionSummary:
    """What the press moves, without the risk at the terminus, from `draws` draws at most."""
    return compaction.summarise(*_played(canal, lumen, protocol, story, sealer, choices, draws))


def _played(
    canal: Canal,
    lumen: Lumen,
    protocol: Protocol,
    story: HeatStory,
    sealer: Sealer | None,
    choices: Choices,
    draws: int,
) -> tuple[CompactionStory, Sample]:
    sample = draw(readings(canal, sealer), min(draws, choices.draws), choices.seed)
    film = sealer.film_thickness if sealer else FILM
    walls = sample["wall"] if "wall" in sample.readings else np.zeros(sample.size)
    lumens = [replace(lumen, wall=np.maximum(lumen.wall + wall, LEAST_WALL)) for wall in walls]
    played = compaction.simulate_many(
        lumens, canal.portals, protocol, story, sample, foramen=canal.foramen, film=film, sealed=sealer is not None
    )
    return played, sample


def readings(canal: Canal, sealer: Sealer | None) -> Mapping[str, Reading]:
    """The uncertain inputs of the compaction model for this canal, its wall among them."""
    kind = sealer.kind if sealer else "other"
    own = {"wall": canal.errors["wall"]} if "wall" in canal.errors else {}
    return {**compaction.readings(kind, canal.portals), **own}
