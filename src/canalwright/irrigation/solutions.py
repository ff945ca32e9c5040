"""Solutions in the order in which they meet, and which of them must not.

Two solutions meet where one follows the other without a rinse between them. What follows is refused by `checked`, with the
reason and what to put in between; `clashes` lists the same without refusing, for a plan that only warns.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from canalwright.irrigation.figures import source, tables
from canalwright.quantities import Source

SOLUTIONS = (
    "hypochlorite",
    "EDTA",
    "citric acid",
    "chlorhexidine",
    "hydrogen peroxide",
    "etidronate",
    "saline",
    "water",
    "alcohol",
)
"""What may be irrigated with, by name."""
RINSES = ("saline", "water", "alcohol")


class SequenceError(ValueError):
    """Solutions that must not meet: which, why, and what to put between them."""


@dataclass(frozen=True, slots=True)
class Clash:
    """Solutions number `first` and `second` (counted from 0) of a sequence that must not meet."""

    first: int
    second: int
    pair: tuple[str, str]
    reason: str
    between: str
    severe: bool
    source: Source

    def __str__(self) -> str:
        return f"{self.pair[0]} then {self.pair[1]}: {self.reason}; between them: {self.between}"


def clashes(order: Sequence[str]) -> tuple[Clash, ...]:
    """Every two solutions of the order that meet and must not. Raises SequenceError for an unknown solution."""
    for name in order:
        if name not in SOLUTIONS:
            raise SequenceError(f"no solution named {name!r}; there are {', '.join(SOLUTIONS)}")
    found = []
    for i, (one, other) in enumerate(pairwise(order)):
        for row in tables()["clash"]:
            if {one, other} == set(row["pair"]):
                found.append(
                    Clash(i, i + 1, (one, other), row["reason"], row["between"], row["severe"], source(row["source"]))
                )
    return tuple(found)


def checked(order: Sequence[str]) -> tuple[str, ...]:
    """The order as given; raises SequenceError with every clash in it."""
    found = clashes(order)
    if found:
        raise SequenceError("; ".join(str(clash) for clash in found))
    return tuple(order)


def mended(order: Sequence[str]) -> tuple[str, ...]:
    """The order with saline put between solutions that clash."""
    after = {clash.first for clash in clashes(order)}
    new: list[str] = []
    for i, name in enumerate(order):
        new += [name, "saline"] if i in after else [name]
    return tuple(new)
