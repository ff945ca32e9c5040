"""Sizes, colours and tolerances of ISO 3630-1, and the tolerances of ISO 6877 points.

The tables of the standards were not open to us: the numbers are from memory of ISO 3630-1:1992/2008
and ISO 6877:2006 and are marked so in the evidence.
"""

SIZES: tuple[int, ...] = (6, 8, 10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 70, 80, 90, 100, 110, 120, 130, 140)
_FIRST = {6: "pink", 8: "grey", 10: "purple"}
_CYCLE = ("white", "yellow", "red", "blue", "green", "black")
FILE_TOLERANCE_SMALL, FILE_TOLERANCE_LARGE = 0.02, 0.04
POINT_TOLERANCE_SMALL, POINT_TOLERANCE_LARGE = 0.05, 0.07
WORKING_PART = 16.0


def check_size(size: int) -> int:
    """Return `size` when it is in the series; raise ValueError naming the neighbours otherwise."""
    if size in SIZES:
        return size
    near = sorted(sorted(SIZES, key=lambda s: abs(s - size))[:2])
    raise ValueError(f"size {size} is not in the ISO 3630-1 series; nearest are {near[0]:02d} and {near[1]:02d}")


def tip_diameter(size: int) -> float:
    """D0 of a size, mm: size / 100."""
    return check_size(size) / 100


def colour(size: int) -> str:
    """Handle colour of a size."""
    check_size(size)
    return _FIRST[size] if size in _FIRST else _CYCLE[(SIZES.index(size) - 3) % 6]


def file_tolerance(size: int) -> float:
    """Half width of the diameter tolerance of a file, mm."""
    return FILE_TOLERANCE_SMALL if size <= 60 else FILE_TOLERANCE_LARGE


def point_tolerance(size: int) -> float:
    """Half width of the diameter tolerance of a gutta-percha point, mm (ISO 6877)."""
    return POINT_TOLERANCE_SMALL if size <= 25 else POINT_TOLERANCE_LARGE
