"""Which measurement or habit matters most, per output, and the sentence that says so.

First-order and total Sobol indices (Sobol 2001, Math Comput Simul 55:271-280; estimators of Saltelli et al. 2010) through
`scipy.stats.sobol_indices`. For a moved control `Sample.contributions` gives first-order shares from the draws at hand.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import sobol_indices, uniform

from canalwright.compaction.result import CompactionStory
from canalwright.quantities import Contribution, Reading, Sample

Array = NDArray[np.float64]
Outputs = Mapping[str, Callable[[CompactionStory], Array]]

PARTS = (
    (0.85, "nearly all"),
    (0.7, "three quarters"),
    (0.6, "two thirds"),
    (0.42, "half"),
    (0.29, "a third"),
    (0.2, "a quarter"),
)
WORDS = {
    "wall": "the thickness of the wall",
    "width": "the width of the canal",
    "length": "the length of the canal",
    "curve": "the curve of the canal",
    "file": "the file's own tolerance",
    "press.force": "the force of the hand",
    "press.grip": "the grip of the wet wall",
    "press.friction": "the friction on the wall",
    "press.bind": "the plugger that binds",
    "press.wall": "the temperature of the canal wall",
    "heat.warmth": "the heat that arrives",
    "sealer.viscosity": "the thickness of the sealer",
    "sealer.share": "how much sealer lies beside the cone",
    "sealer.ahead": "how much sealer goes ahead",
    "place.speed": "how fast the cone is seated",
    "backfill.void": "bubbles in the backfill",
    "lateral.packing": "how densely accessory cones lie",
    "branch.patency": "whether the branch is open",
    "dentine.strength": "the strength of dentine",
    "gutta.contraction": "how much gutta-percha contracts",
    "gutta.freezing_share": "how much of that comes on freezing",
    "gutta.freeze": "where gutta-percha freezes",
    "gutta.diffusivity": "how fast gutta-percha takes up heat",
}


@dataclass(frozen=True)
class Sensitivity:
    """Sobol indices of one output: first order (share of its own) and total (with interactions), by reading name."""

    output: str
    first: Mapping[str, float]
    total: Mapping[str, float]

    def ranked(self) -> list[tuple[str, float]]:
        """Readings by total index, greatest first."""
        return sorted(self.total.items(), key=lambda item: -item[1])

    @property
    def sentence(self) -> str:
        """What leads, in words; empty when nothing moves the output."""
        name, share = self.ranked()[0]
        return sentence(self.output, name, share) if share > 0 else ""


def sensitivities(
    run: Callable[[Sample], CompactionStory],
    readings: Mapping[str, Reading],
    outputs: Outputs,
    points: int = 64,
    seed: int = 20,
) -> tuple[Sensitivity, ...]:
    """Sobol indices of `outputs` (name: function of the story to one number a draw) by `points` (a power of two) x readings.

    `run` simulates a sample, such as `lambda s: simulate_many(lumen, portals, protocol, heat, s)`.
    Raises ValueError when `points` is no power of two.
    """
    names = [name for name, reading in readings.items() if reading.error > 0]

    def evaluate(u: Array) -> Array:
        story = run(_sample(readings, names, u.T))
        return np.array([np.nan_to_num(output(story)[1:], posinf=0.0) for output in outputs.values()])

    found = sobol_indices(func=evaluate, n=points, dists=[uniform()] * len(names), rng=np.random.default_rng(seed))
    first = np.atleast_2d(np.nan_to_num(found.first_order))
    total = np.atleast_2d(np.nan_to_num(found.total_order))
    return tuple(
        Sensitivity(
            output, dict(zip(names, first[i].tolist(), strict=True)), dict(zip(names, total[i].tolist(), strict=True))
        )
        for i, output in enumerate(outputs)
    )


def leading(output: str, contributions: Sequence[Contribution]) -> str:
    """The sentence from first-order shares, empty when nothing varies."""
    return sentence(output, contributions[0].name, contributions[0].share) if contributions else ""


def sentence(output: str, name: str, share: float) -> str:
    """Such as 'half of the doubt about the branch at 3 mm comes from its width'."""
    return f"{_part(share)} of the doubt about {output} comes from {words(name)}"


def words(name: str) -> str:
    """A reading in words of the chair."""
    if name.startswith("portal."):
        return "its width"
    if name in WORDS:
        return WORDS[name]
    return "how easily gutta-percha flows" if name.startswith("gutta.") else name


def _part(share: float) -> str:
    return next((said for least, said in PARTS if share >= least), "the largest part")


def _sample(readings: Mapping[str, Reading], names: Sequence[str], u: Array) -> Sample:
    """A sample at the probabilities `u` (draws, names); readings without error keep their value."""
    u = np.clip(u, 1e-6, 1 - 1e-6)
    columns = [
        reading.quantile(u[:, names.index(name)]) if name in names else np.full(len(u), reading.value)
        for name, reading in readings.items()
    ]
    scores = np.zeros((len(u) + 1, len(readings)))
    for i, name in enumerate(readings):
        if name in names:
            scores[1:, i] = ndtri(u[:, names.index(name)])
    nominal = np.array([[reading.value for reading in readings.values()]])
    return Sample(dict(readings), np.vstack([nominal, np.column_stack(columns)]), scores)
