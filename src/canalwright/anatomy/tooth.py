"""Which tooth: ISO 3950 inside, Universal numbers on request."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Tooth:
    """A permanent tooth by its ISO 3950 code, such as 46.

    Raises ValueError for a code that names no permanent tooth.
    """

    code: int

    def __post_init__(self) -> None:
        if not (1 <= self.code // 10 <= 4 and 1 <= self.code % 10 <= 8):
            raise ValueError(
                f"tooth {self.code} is not a permanent tooth in ISO 3950: first digit 1-4, second 1-8 (46, say)"
            )

    @property
    def quadrant(self) -> int:
        """1 upper right, 2 upper left, 3 lower left, 4 lower right."""
        return self.code // 10

    @property
    def position(self) -> int:
        """1 central incisor to 8 third molar, counted from the midline."""
        return self.code % 10

    @property
    def upper(self) -> bool:
        """True for the upper jaw."""
        return self.quadrant <= 2

    @property
    def universal(self) -> int:
        """The Universal number, 1 to 32."""
        p = self.position
        return {1: 9 - p, 2: 8 + p, 3: 25 - p, 4: 24 + p}[self.quadrant]

    @classmethod
    def from_universal(cls, number: int) -> "Tooth":
        """The tooth with a Universal number; raises ValueError outside 1-32."""
        if not 1 <= number <= 32:
            raise ValueError(f"Universal tooth number {number} is outside 1-32")
        quadrant = (number - 1) // 8 + 1
        position = {1: 9 - number, 2: number - 8, 3: 25 - number, 4: number - 24}[quadrant]
        return cls(10 * quadrant + position)

    @property
    def kind(self) -> str:
        """Name of the tooth without its side, such as 'lower first molar'."""
        names = (
            "central incisor", "lateral incisor", "canine", "first premolar",
            "second premolar", "first molar", "second molar", "third molar",
        )  # fmt: skip
        return f"{'upper' if self.upper else 'lower'} {names[self.position - 1]}"

    @property
    def side(self) -> str:
        """'right' or 'left', the patient's."""
        return "right" if self.quadrant in (1, 4) else "left"

    def __str__(self) -> str:
        return f"{self.code} ({self.kind}, {self.side})"
