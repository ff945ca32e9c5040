"""The doubt of a plan: every uncertain input under one name, and the draws of all of them."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from canalwright import heat
from canalwright.anatomy.canal import Canal
from canalwright.fit import Passage
from canalwright.planning import practice
from canalwright.planning.choices import Choices
from canalwright.quantities import Origin, Quantity, Reading, Sample, Shape, Source, carried, draw

Array = NDArray[np.float64]
HEAT_DRAWS = 64
"""Draws for which the heat model is run; a response surface carries them to the rest."""
_PRACTICE = Source(Origin.ASSUMED, "common practice")
_TOLERANCE = Source(Origin.STANDARD, "half width of the ISO tolerance")


def readings(canal: Canal, choices: Choices) -> Mapping[str, Reading]:
    """Every uncertain input of a plan by name: the canal's, the instruments', the hand's and the heat model's."""
    return {
        **canal.errors,
        "cone": Reading(0.0, 1.0, "of the cone's tolerance", _TOLERANCE, Shape.UNIFORM),
        "tool": Reading(0.0, 1.0, "of the instrument's tolerance", _TOLERANCE, Shape.UNIFORM),
        "stop": Reading(0.0, practice.STOP_ERROR, "mm", _PRACTICE),
        "force": Reading(
            choices.force, practice.EXTRA_FORCE_SPREAD, "N",
            Source(Origin.AVERAGE, "Guimaraes et al. 2011, Dental Press Endod 1:52-57"), Shape.LOGNORMAL,
        ),
        **heat.readings(),
    }  # fmt: skip


@dataclass(frozen=True)
class Draws:
    """Draws of all inputs (`sample`), the first of them for the costly models (`few`), and the canal in each draw."""

    canal: Canal
    sample: Sample
    few: Sample
    passage: Passage

    @classmethod
    def of(cls, canal: Canal, choices: Choices) -> "Draws":
        """Draw as `choices` say: their number and their seed."""
        sample = draw(readings(canal, choices), choices.draws, choices.seed)
        return cls(canal, sample, sample.first(min(HEAT_DRAWS, choices.draws)), Passage.draws(canal, sample))

    def pressed(self, choices: Choices) -> "Draws":
        """The same draws with another force; all other inputs keep their values, since each is drawn by itself."""
        sample = draw(readings(self.canal, choices), choices.draws, choices.seed)
        return replace(self, sample=sample, few=sample.first(self.few.size - 1))

    def depth(self, z: Array | float, *, set_by_stop: bool = False) -> Quantity:
        """Depth from the reference point of a station [mm], drawn or fixed, with the error of the length.

        `set_by_stop`: the depth is one that a hand sets with a rubber stop; its error joins in.
        """
        depths = self.sample["length"] - np.broadcast_to(np.asarray(z, dtype=float), self.sample.size)
        return self.sample.summarise(depths + self.sample["stop"] if set_by_stop else depths, "mm")

    def summarise(self, values: Array, unit: str) -> Quantity:
        """A quantity from draws of all inputs (d,)."""
        return self.sample.summarise(values, unit)

    def carry(self, values: Array, unit: str, *, positive: bool = False) -> Quantity:
        """A quantity from the answers of a costly model to the few draws."""
        return self.sample.summarise(self.carried(values, positive=positive), unit)

    def carried(self, values: Array, *, positive: bool = False) -> Array:
        """The answers of a costly model carried to all draws."""
        if self.few.size == self.sample.size:
            return np.asarray(values, dtype=float)
        return carried(self.few, values, self.sample, positive=positive)
