"""Needle tubing by gauge: ISO 9626 limits and usual nominal sizes, and how deep a needle goes.

The tables of the standard were not open to us: limits are from memory of ISO 9626:2016; nominal sizes are those
of a public gauge chart. The scope (10 to 34 gauge) was read in the abstract; rows here are 18 to 31.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Tubing:
    """One gauge, mm: nominal outside and inside diameter (regular wall), limits of the outside.

    `least_bore` by wall class: regular, thin, extra thin (None where there is none).
    """

    gauge: int
    outside: float
    inside: float
    least_outside: float
    greatest_outside: float
    least_bore: tuple[float, float, float | None]

    @property
    def wall(self) -> float:
        """Nominal wall, mm."""
        return (self.outside - self.inside) / 2

    @property
    def tolerance(self) -> float:
        """Half width about the nominal outside diameter that covers the limits, mm."""
        return max(self.outside - self.least_outside, self.greatest_outside - self.outside)

    def bore(self, wall: str = "regular") -> float:
        """Inside diameter: nominal for a regular wall, the least allowed for 'thin' and 'extra thin'.

        Raises ValueError for a wall class that this gauge has no figure for.
        """
        if wall == "regular":
            return self.inside
        value = dict(zip(("thin", "extra thin"), self.least_bore[1:], strict=True)).get(wall)
        if value is None:
            raise ValueError(
                f"no {wall!r} wall for {self.gauge} gauge; there are regular, thin and (to 23 gauge) extra thin"
            )
        return value


TUBING: dict[int, Tubing] = {
    row[0]: Tubing(*row)
    for row in (
        (18, 1.270, 0.838, 1.200, 1.300, (0.790, 0.910, 1.041)),
        (19, 1.067, 0.686, 1.030, 1.100, (0.648, 0.750, 0.850)),
        (20, 0.908, 0.603, 0.860, 0.920, (0.560, 0.635, 0.687)),
        (21, 0.819, 0.514, 0.800, 0.830, (0.490, 0.547, 0.610)),
        (22, 0.718, 0.413, 0.698, 0.730, (0.390, 0.440, 0.522)),
        (23, 0.641, 0.337, 0.600, 0.673, (0.317, 0.370, 0.460)),
        (24, 0.565, 0.311, 0.550, 0.580, (0.280, 0.343, None)),
        (25, 0.514, 0.260, 0.500, 0.530, (0.232, 0.292, None)),
        (26, 0.464, 0.260, 0.440, 0.470, (0.232, 0.265, None)),
        (27, 0.413, 0.210, 0.400, 0.420, (0.184, 0.241, None)),
        (28, 0.362, 0.184, 0.349, 0.370, (0.133, 0.190, None)),
        (29, 0.337, 0.184, 0.324, 0.351, (0.133, 0.190, None)),
        (30, 0.311, 0.159, 0.298, 0.320, (0.133, 0.165, None)),
        (31, 0.260, 0.133, 0.254, 0.267, (0.114, 0.125, None)),
    )
}


def tubing(gauge: int) -> Tubing:
    """The row of a gauge; raises ValueError for a gauge that is not in the table."""
    try:
        return TUBING[gauge]
    except KeyError:
        raise ValueError(
            f"{gauge} gauge is not in the table of needle tubing: {min(TUBING)} to {max(TUBING)}"
        ) from None


def entry_level(outside: float, tip: float, taper: float) -> float:
    """Distance [mm] from the end of a round straight canal (width `tip`, `taper`) at which `outside` just enters.

    (outside - tip) / taper; 0 when it passes the end. It leaves out curves, clearance and tolerances: `fit` has them.
    """
    if outside <= tip:
        return 0.0
    return (outside - tip) / taper if taper > 0 else float("inf")
