"""What goes on the plan: numbers with intervals, chances, and the sentence on what the doubt rests on."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.lumen import Portal
from canalwright.compaction.materials import readings
from canalwright.compaction.result import CompactionStory
from canalwright.compaction.sensitivity import leading
from canalwright.quantities import Quantity, Sample

Array = NDArray[np.float64]
FULL = 0.95
TELLING = 0.05  # mm of spread below which there is no doubt to speak of
NEAR = 0.3  # of the strength of dentine: roots under water pressure burst at about a third of it (Pilo et al. 2017)


@dataclass(frozen=True)
class PortalFill:
    """One side branch: how far it fills [mm] and with what, the chance that it fills, and what the doubt rests on.

    `chance_open` is the share of draws in which an open branch fills to 95 % of its length, `chance_gutta` the same for
    gutta-percha alone past half of it; `chance` counts that a branch may be blocked. `doubt` speaks of gutta-percha where that
    varies, else of sealer; it is empty where neither does.
    """

    portal: Portal
    sealer: Quantity
    gutta: Quantity
    length: float
    chance_open: float
    chance_gutta: float
    chance: Quantity
    doubt: str


@dataclass(frozen=True)
class HoldNeed:
    """Seconds that one press must be held at one place until 90 % of the contraction there has come."""

    stop: float
    place: str
    needed: Quantity
    held: float
    taken_up: Quantity


@dataclass(frozen=True)
class CompactionSummary:
    """The outputs of the room for a plan. Shares are of the volume filled; `root_ratio` is stress over strength."""

    portals: tuple[PortalFill, ...]
    puff: Quantity
    void: Quantity
    gutta: Quantity
    sealer: Quantity
    holds: tuple[HoldNeed, ...]
    to_add: tuple[Quantity, ...]
    root_stress: Quantity
    root_ratio: Quantity
    root_level: float
    root_chance: float
    doubts: tuple[str, ...]

    @property
    def root_warns(self) -> bool:
        """True when the root comes near its strength in the nominal run, or to it in one draw of twenty."""
        return self.root_ratio.value >= NEAR or self.root_ratio.high >= 1.0


def summarise(story: CompactionStory, sample: Sample) -> CompactionSummary:
    """Quantities from a story that was simulated with `sample`. Raises ValueError when the draws differ."""
    if story.draws != sample.size:
        raise ValueError(f"the story has {story.draws} draws, the sample {sample.size}")
    ratio = story.stress_ratio
    outputs = {
        "the sealer beyond the root": story.puff.sum(1),
        "the voids": story.fill.share("void"),
        "the stress in the root": ratio,
    }
    return CompactionSummary(
        portals=tuple(_portal(story, sample, i, portal) for i, portal in enumerate(story.portals)),
        puff=sample.summarise(story.puff.sum(1), "mm3"),
        void=sample.summarise(story.fill.share("void"), ""),
        gutta=sample.summarise(story.fill.share("gutta"), ""),
        sealer=sample.summarise(story.fill.share("sealer"), ""),
        holds=_holds(story, sample),
        to_add=tuple(sample.summarise(portion.to_add, "mm3") for portion in story.portions),
        root_stress=sample.summarise(story.wall_stress.max(1), "MPa"),
        root_ratio=sample.summarise(ratio, ""),
        root_level=float(story.z[int(np.argmax(story.wall_stress[0]))]),
        root_chance=_share(ratio >= 1.0),
        doubts=tuple(leading(name, sample.contributions(values)) for name, values in outputs.items()),
    )


def _portal(story: CompactionStory, sample: Sample, i: int, portal: Portal) -> PortalFill:
    length = float(story.branch_length[i + 1])
    sealer = np.minimum(story.sealer_length[:, i + 1], length)
    gutta = np.minimum(story.gutta_length[:, i + 1], length)
    full = story.filled(i) >= FULL
    name = "branch.patency"
    patency = sample[name] if name in sample.readings else np.full(sample.size, readings()[name].value)
    open_share = _share(full)
    told = gutta if np.ptp(gutta) > TELLING else sealer if np.ptp(sealer) > TELLING else np.zeros(sample.size)
    return PortalFill(
        portal,
        sample.summarise(sealer, "mm"),
        sample.summarise(gutta, "mm"),
        length,
        open_share,
        _share(gutta >= 0.5 * length),
        sample.summarise(patency * open_share, ""),
        leading(f"the {portal.kind} at {portal.z:.0f} mm", sample.contributions(told)),
    )


def _holds(story: CompactionStory, sample: Sample) -> tuple[HoldNeed, ...]:
    """Holds by third of the canal, where the press reaches and something contracts in the nominal run."""
    third = story.z[-1] / 3
    told = []
    for press in story.presses:
        for name, low in (("apical third", 0.0), ("middle third", third), ("coronal third", 2 * third)):
            inside = (story.z >= low) & (story.z < low + third) & (story.z <= press.act.stop)
            needed = press.hold_at(low, low + third, story.z)
            if not inside.any() or needed[0] <= 0:
                continue
            loss = press.loss[:, inside].sum(1)
            made_good = (press.taken_up * press.loss)[:, inside].sum(1)
            taken = np.divide(made_good, loss, out=np.ones_like(loss), where=loss > 1e-12)
            told.append(
                HoldNeed(
                    press.act.stop, name, sample.summarise(needed, "s"), press.act.seconds, sample.summarise(taken, "")
                )
            )
    return tuple(told)


def _share(hits: NDArray[np.bool_]) -> float:
    return float((hits[1:] if len(hits) > 1 else hits).mean())
