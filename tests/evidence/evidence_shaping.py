"""Shaping against geometry and published shapes."""

import numpy as np

from canalwright import shaping
from tests.evidence.table import Check
from tests.fit.canals import canal


def _volume(size: int, taper: float) -> float:
    return shaping.shaped(canal(size=size, taper=taper, end=0.0, top=16.0, tip=0.05, taper_native=0.0)).volume


def _strain(radius: float) -> float:
    one = canal(size=40, taper=0.0, end=0.0, radius=radius, straight=13 - 1.4 * radius)
    return 100 * float(shaping.file_strain(one)[max(1, round(4 * radius))])


def _wall_left() -> float:
    """Mesial root 1.13 mm thick at its thinnest, native canal 0.40 mm there, file 30/0.06 to 0.66 mm."""
    one = canal(size=30, taper=0.06, end=0.0, tip=0.40, taper_native=0.0, wall=1.13)
    return float(np.interp(6.0, one.native.z, shaping.remaining_dentine(one)))


def _taper_thins() -> float:
    four, six = (canal(size=30, taper=t, end=0.0, taper_native=0.02) for t in (0.04, 0.06))
    return float(np.interp(8.0, four.native.z, shaping.remaining_dentine(four) - shaping.remaining_dentine(six)))


def _untouched_mesial() -> float:
    """Mesiobuccal canal of a lower molar by its published median widths at 1-4 mm, file 30/0.04."""
    one = canal(size=30, taper=0.04, end=0.5, top=4.0)
    levels = [1.0, 2.0, 3.0, 4.0]
    z = one.native.z
    minor = np.interp(z, levels, [0.22, 0.27, 0.30, 0.36])
    major = np.interp(z, levels, [0.37, 0.55, 0.54, 0.54])
    native = type(one.native)(z, minor, major, one.native.centre, one.native.axis, one.native.wall, minor * major)
    return 100 * shaping.untouched_total(one.with_native(native))


FRUSTUM = "V = pi L (D^2 + D d + d^2) / 12"
CHECKS = [
    *[
        Check(
            "shaping", f"volume of a canal shaped to {size}/{taper:.2f}, 16 mm", lambda s=size, t=taper: _volume(s, t),
            volume, 0.002, "trapezoid over 0.1 mm stations", "mm3", FRUSTUM, "closed form",
            "native canal narrower than the file everywhere",
        )
        for size, taper, volume in ((30, 0.06, 8.610), (40, 0.06, 10.696), (30, 0.04, 5.259), (25, 0.02, 2.220))
    ],
    *[
        Check(
            "shaping", f"surface strain of a 0.40 mm file in a curve of {radius:.0f} mm", lambda r=radius: _strain(r),
            strain, 0.002 * strain, "points lie 0.1 mm apart along the arc", "%",
            "strain = d / (2 r), pure bending", "closed form", "arc of 80 degrees",
        )
        for radius, strain in ((5.0, 4.0), (2.0, 10.0))
    ],
    Check(
        "shaping", "wall left in the danger zone of a lower mesial root", _wall_left, 1.13 - (0.66 - 0.40) / 2, 0.002,
        "arithmetic of the rule", "mm", "De-Deus et al. 2019, Int Endod J 52:1501-1507 (wall); residual wall = wall - "
        "(prepared - native) / 2", "read in an abstract", "mean wall 1.13 mm, canal 0.40 mm, file 0.66 mm there",
    ),
    Check(
        "shaping", "0.06 thins the wall more than 0.04 at size 30", _taper_thins, (0.01, 0.16), 0.0,
        "the source gives the order alone (P < .05); upper end is all of the difference, 8 mm x 0.02", "mm",
        "J Endod, micro-CT of 30 mesial roots (authors not shown)", "read in an abstract", "8 mm from the end",
    ),
    Check(
        "shaping", "wall left untouched, apical 4 mm of a lower mesial canal", _untouched_mesial, (35.0, 80.0), 0.0,
        "the source says '35 % or more', another tooth and whole canals; over 80 % would be no shaping at all", "%",
        "Peters, Schönenberger & Laib 2001, Int Endod J 34:221-230; widths: Villas-Bôas et al. 2011, J Endod",
        "read in an abstract", "median widths at 1-4 mm, file 30/0.04, ellipse and circle about one centre",
    ),
]  # fmt: skip
