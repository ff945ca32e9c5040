"""Instruments against ISO 3630-1, ISO 6877 and ISO 9626.

The tables of the standards were not open to us: most rows are from memory and say so.
"""

from canalwright.casefile import generic_tray
from canalwright.instruments import Profile, iso3630, iso9626
from tests.evidence.table import Check

ISO_FILE = "ISO 3630-1 (1992, 2008, 2019), dimensions"
CHART = "public needle gauge chart"
CHART_WALL = {
    18: 0.216, 19: 0.191, 20: 0.152, 21: 0.152, 22: 0.152, 23: 0.152, 24: 0.127,
    25: 0.127, 26: 0.102, 27: 0.102, 28: 0.089, 29: 0.076, 30: 0.076, 31: 0.064,
}  # fmt: skip


def _d16(size: int, taper: float) -> float:
    return float(Profile.uniform(iso3630.tip_diameter(size), taper)(16.0))


def _colour_place(size: int) -> float:
    """1 white, 2 yellow, 3 red, 4 blue, 5 green, 6 black."""
    return 1 + ("white", "yellow", "red", "blue", "green", "black").index(iso3630.colour(size))


def _wall_residual() -> float:
    return max(abs(iso9626.tubing(g).wall - wall) for g, wall in CHART_WALL.items())


def _outside_limits() -> float:
    return sum(not row.least_outside <= row.outside <= row.greatest_outside for row in iso9626.TUBING.values())


def _entry(gauge: int, tip: float, taper: float) -> float:
    return iso9626.entry_level(iso9626.tubing(gauge).outside, tip, taper)


def _cone_tip(size: int) -> float:
    cone = next(c for c in generic_tray().cones if c.size == size)
    return cone.profile.tip - cone.tolerance


def _shortest_cone() -> float:
    return min(cone.length for cone in generic_tray().cones)


CHECKS = [
    *(
        Check(
            "instruments", f"D16 of a file {size}/{taper:.2f}", lambda s=size, t=taper: _d16(s, t), theirs, 1e-9,
            "the standard fixes D0 and the taper over 16 mm: exact", "mm", ISO_FILE, "from memory", "working part 16 mm",
        )
        for size, taper, theirs in ((25, 0.02, 0.57), (30, 0.04, 0.94), (40, 0.06, 1.36))
    ),
    Check(
        "instruments", "sizes in the series", lambda: float(len(iso3630.SIZES)), 21, 0, "a count", "sizes", ISO_FILE, "from memory",
        "06 to 10, 15 to 60 by 5, 70 to 140 by 10",
    ),
    *(
        Check(
            "instruments", f"place of size {size} in the colour sequence", lambda s=size: _colour_place(s), place, 0, "an index",
            "of six", ISO_FILE, "from memory", "1 white, 2 yellow, 3 red, 4 blue, 5 green, 6 black",
        )
        for size, place in ((45, 1), (110, 3), (80, 6))
    ),
    Check(
        "instruments", "tolerance of a file of size 35", lambda: iso3630.file_tolerance(35), 0.02, 0, "set from it", "mm",
        "ISO 3630-1:1992, tolerance of diameters", "from memory", role="calibration",
    ),
    Check(
        "instruments", "thinnest tip of a size 40 cone", lambda: _cone_tip(40), 0.33, 1e-9, "set from the tolerance of 0.07 mm", "mm",
        "ISO 6877:2006, sizes 30 to 140", "from memory", "generic tray", role="calibration",
    ),
    Check(
        "instruments", "shortest cone of the generic tray", _shortest_cone, (28.0, 40.0), 0, "the standard asks for 28 mm or more", "mm",
        "ISO 6877, length", "from memory",
    ),
    Check(
        "instruments", "needle wall from nominal diameters, worst of 14 gauges", _wall_residual, 0.0, 0.001,
        "the chart rounds to 0.001 mm", "mm", f"{CHART}, wall column", "read in the source", "(outside - inside) / 2",
    ),
    Check(
        "instruments", "nominal outside diameters beyond their limits", _outside_limits, 0, 0, "a count; two independent tables", "gauges",
        f"ISO 9626:2016 limits beside {CHART}", "from memory", "18 to 31 gauge",
    ),
    *(
        Check(
            "instruments", f"{gauge} gauge enters a 40/0.06 canal to", lambda g=gauge: _entry(g, 0.40, 0.06), theirs, 0.005,
            "printed to 0.01 mm", "mm from the end", f"{CHART}: (outside - tip) / taper", "closed form", "round, straight, no clearance",
        )
        for gauge, theirs in ((23, 4.02), (20, 8.47), (30, 0.0))
    ),
]  # fmt: skip
