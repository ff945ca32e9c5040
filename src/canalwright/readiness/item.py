"""One item of the verdict."""

from dataclasses import dataclass
from enum import IntEnum

from canalwright.quantities import Quantity


class Verdict(IntEnum):
    """How ready an item is, best first; `UNKNOWN` is what nobody recorded."""

    READY = 1
    UNKNOWN = 2
    LOOK = 3
    NOT_READY = 4

    @property
    def words(self) -> str:
        """In words."""
        return {1: "ready", 2: "not recorded", 3: "look again", 4: "not ready"}[self.value]


@dataclass(frozen=True, slots=True)
class Number:
    """A number behind a verdict, with its interval."""

    name: str
    quantity: Quantity


@dataclass(frozen=True, slots=True)
class Item:
    """One item: its name, how ready it is, why in words, the numbers behind it and what to do."""

    name: str
    verdict: Verdict
    message: str
    numbers: tuple[Number, ...]
    action: str
