"""The instruments of a tray. Lengths mm, temperatures deg C; profiles are measured from the tip."""

from dataclasses import dataclass

from canalwright.instruments import iso3630
from canalwright.instruments.profile import Profile


@dataclass(frozen=True)
class File:
    """A finishing file: its envelope is what it leaves when taken to working length.

    `alloy` is "superelastic", "heat-treated" or "steel"; `uses` how many canals it has shaped, `most_uses` after how many
    it is thrown away (None: not counted).
    """

    name: str
    profile: Profile
    size: int | None = None
    tolerance: float = iso3630.FILE_TOLERANCE_SMALL
    alloy: str = "superelastic"
    uses: int | None = None
    most_uses: int | None = None


@dataclass(frozen=True)
class Cone:
    """A gutta-percha point; `tolerance` is the half width of its diameter error (ISO 6877)."""

    name: str
    profile: Profile
    size: int | None = None
    length: float = 28.0
    tolerance: float = iso3630.POINT_TOLERANCE_LARGE

    def trimmed(self, length: float) -> "Cone":
        """The cone after `length` mm are cut off its tip."""
        return Cone(self.name, self.profile.cut(length), self.size, self.length - length, self.tolerance)


@dataclass(frozen=True)
class PaperPoint:
    """A paper point for drying and for finding where the canal ends."""

    name: str
    profile: Profile
    size: int | None = None
    length: float = 28.0


@dataclass(frozen=True)
class Plugger:
    """A hand plugger with a flat tip.

    A stiff one goes only as far as its straight shank allows; an elastic one may follow the canal
    until the bending strain d / (2 R) reaches `strain_limit` (0.08 for superelastic
    nickel-titanium, common practice).
    """

    name: str
    profile: Profile
    working_length: float = 28.0
    elastic: bool = False
    strain_limit: float = 0.08
    tolerance: float = 0.02


@dataclass(frozen=True)
class Carrier:
    """An electric heat carrier; its thin steel tip is curved by hand before use, hence the strain limit (common practice).

    `power` W is what its heater can give, `heated_length` mm of its tip carry the heater, the
    sensor sits at `sensor_at` mm from the tip. `temperatures` are the settings on offer.
    """

    name: str
    profile: Profile
    working_length: float = 25.0
    temperatures: tuple[float, ...] = (150.0, 180.0, 200.0, 230.0, 250.0)
    power: float = 6.0
    heated_length: float = 8.0
    sensor_at: float = 4.0
    elastic: bool = True
    strain_limit: float = 0.05
    tolerance: float = 0.03


@dataclass(frozen=True)
class Needle:
    """A needle that delivers softened gutta-percha or irrigant; diameters per ISO 9626.

    `opening` tells where an irrigation needle lets out: "open" at its end, or "side" with a closed end.
    """

    name: str
    gauge: int
    outside: float
    inside: float
    working_length: float = 25.0
    purpose: str = "backfill"
    tolerance: float = 0.015
    opening: str = "open"


@dataclass(frozen=True)
class Sealer:
    """A sealer by kind; properties that the models need are looked up by kind."""

    name: str
    kind: str = "epoxy resin"
    film_thickness: float = 0.03


@dataclass(frozen=True)
class Tray:
    """The instruments a clinician really owns."""

    name: str
    files: tuple[File, ...] = ()
    cones: tuple[Cone, ...] = ()
    paper_points: tuple[PaperPoint, ...] = ()
    pluggers: tuple[Plugger, ...] = ()
    carriers: tuple[Carrier, ...] = ()
    needles: tuple[Needle, ...] = ()
    sealers: tuple[Sealer, ...] = ()
