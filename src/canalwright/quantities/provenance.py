"""Where a value came from."""

from dataclasses import dataclass
from enum import StrEnum


class Origin(StrEnum):
    """The kind of source of a value; the last two of the inputs are supposed, not known."""

    MEASURED = "measured"
    SCAN = "read from scan"
    STANDARD = "standard"
    COMPUTED = "computed"
    AVERAGE = "published average"
    ASSUMED = "assumed"

    @property
    def supposed(self) -> bool:
        """True for a value that nobody measured in this tooth."""
        return self in (Origin.AVERAGE, Origin.ASSUMED)


@dataclass(frozen=True, slots=True)
class Source:
    """Origin of a value and, in words, the method, citation or formula behind it."""

    origin: Origin
    detail: str = ""

    def __str__(self) -> str:
        return f"{self.origin.value} ({self.detail})" if self.detail else self.origin.value


MEASURED = Source(Origin.MEASURED)
COMPUTED = Source(Origin.COMPUTED)
