"""Fit against standards, closed forms, common practice and a general-purpose library."""

import numpy as np

from canalwright import fit
from canalwright.instruments import Needle, Plugger, Profile
from canalwright.instruments.iso3630 import point_tolerance
from tests.evidence.table import Check
from tests.fit.canals import canal, centreline, passage
from tests.fit.reference import bent, pose_at

Z = np.arange(131) * 0.1


def _shaped(size: int, taper: float) -> fit.Passage:
    return fit.Passage.of(canal(size=size, taper=taper, end=0.0, tip=0.1, taper_native=0.01))


def _plugger(tip: float) -> float:
    return float(fit.reach_of(Plugger("flat", Profile((0.0,), (tip,))), _shaped(30, 0.04)).z[0])


def _needle(outside: float) -> float:
    return float(fit.reach_of(Needle("straight", 23, outside, outside / 2), _shaped(40, 0.06)).z[0])


def _stop() -> float:
    choice = fit.choose_pluggers([Plugger("0.46", Profile((0.0,), (0.46,)))], _shaped(30, 0.04))
    return choice.chosen[0].stop - float(choice.chosen[0].reach.z[0])


def _rod() -> float:
    lane = passage(np.full(131, 0.8), centre=centreline(Z, 10.0, 0.0))
    return 13.0 - float(fit.reach(Profile((0.0,), (0.5,)), lane).z[0])


def _against_linear_programming() -> float:
    """Greatest difference over eight random curves of two planes, mm."""
    worst = 0.0
    for seed in range(20, 28):
        rng = np.random.default_rng(seed)
        centre, minor, profile = bent(rng), 0.35 + 0.05 * Z, Profile.uniform(0.45, 0.03)
        found = float(fit.reach(profile, passage(minor, centre=centre)).z[0])
        index = int(np.ceil(max(float(fit.seat(profile, Z, minor)[0]), 0.0) * 10))
        while index < 129 and pose_at(index, minor, centre, profile)[0] > 0:
            index += 1
        worst = max(worst, abs(Z[index] - found))
    return worst


def _in_size() -> float:
    """Share of size 30-40 cones within half a size step (0.025 mm) when errors fill the ISO 6877 band evenly."""
    u = np.linspace(-1, 1, 20001) * point_tolerance(35)
    return 100 * float(np.mean(np.abs(u) < 0.025))


def _overlap() -> float:
    """How far the widest size 40 point overlaps the thinnest size 45, mm."""
    return (0.40 + point_tolerance(40)) - (0.45 - point_tolerance(45))


def _seat_error() -> float:
    minor = 0.30 + 0.04 * Z
    seats = fit.seat(Profile.uniform(0.30, 0.02), Z, minor, offset=np.array([0.0, 0.07]))
    return float(seats[1] - seats[0])


PRACTICE = "binding level = (plugger - D0) / taper from the end"
CHECKS = [
    Check(
        "fit", "0.50 mm plugger binds in a 30/0.04 canal", lambda: _plugger(0.50), 5.0, 0.015, "depth is searched to 0.01 mm",
        "mm from the end", PRACTICE, "closed form", "straight canal",
    ),
    Check(
        "fit", "0.55 mm plugger fails the 5 mm rule in a 30/0.04 canal", lambda: _plugger(0.55), 6.25, 0.015,
        "depth is searched to 0.01 mm", "mm from the end", PRACTICE, "closed form", "straight canal",
    ),
    Check(
        "fit", "stop short of binding", _stop, 1.0, 1e-6, "a rule", "mm", "common practice", "common practice",
        "0.46 mm plugger, 30/0.04 canal",
    ),
    Check(
        "fit", "23-gauge needle in a 40/0.06 canal", lambda: _needle(0.641), 4.02, 0.02, "rounding of the figure and search",
        "mm from the end", "ISO 9626:2016 with a public gauge chart: (OD - tip) / taper", "closed form", "straight steel needle",
    ),
    Check(
        "fit", "20-gauge needle in a 40/0.06 canal", lambda: _needle(0.908), 8.47, 0.02, "rounding of the figure and search",
        "mm from the end", "ISO 9626:2016 with a public gauge chart: (OD - tip) / taper", "closed form", "straight steel needle",
    ),
    Check(
        "fit", "30-gauge needle passes to the end of a 40/0.06 canal", lambda: _needle(0.311), 0.0, 1e-6, "0.311 < 0.40",
        "mm from the end", "ISO 9626:2016 with a public gauge chart", "closed form", "straight steel needle",
    ),
    Check(
        "fit", "stiff rod 0.5 mm in a tube of 0.8 mm bent to 10 mm", _rod, 20 * float(np.arccos(1 - 0.3 / 10)), 0.03,
        "stations lie 0.1 mm apart, search to 0.01 mm", "mm of arc", "sagitta: R (1 - cos(L / 2R)) = D - d", "closed form",
        "whole canal an arc, free above the orifice",
    ),
    Check(
        "fit", "reach in eight random curves, greatest difference", _against_linear_programming, 0.0, 0.12,
        "the reference answers at stations 0.1 mm apart and overstates the room by 0.1 %", "mm",
        "minimax pose by SciPy's linear programming (HiGHS), 72 directions", "reference library", "two planes, round lumen",
    ),
    Check(
        "fit", "neighbouring cone sizes overlap", _overlap, 0.09, 1e-9, "arithmetic: 0.47 - 0.38", "mm",
        "ISO 6877:2006, half width 0.07 mm for sizes 30-140", "from memory", "sizes 40 and 45",
    ),
    Check(
        "fit", "tip error of 0.07 mm moves the seat in a 0.04 canal", _seat_error, 1.75, 1e-6, "arithmetic", "mm",
        "error of seat = error of diameter / taper", "closed form", "cone 30/0.02 held at its tip",
    ),
    Check(
        "fit", "points that are in size at their tip", _in_size, 71.2, 10.0,
        "sampling of 71 % in some 100 points per size is about 5 %; 'in size' taken as nearer to its own gauge hole than to the next",
        "%", "Bielawiec et al. 2023, J Pre-Clin Clin Res 17(2):70-72", "read in an abstract", "taper 0.02, sizes 30, 35, 40",
        miss="errors drawn evenly over the whole ISO band are wider than real points show; a cone that was gauged may be given "
        "a smaller half width",
    ),
    Check(
        "fit", "apical gauge 30 stops, 25 passes: widest possible", lambda: fit.gauge_bounds(25, 30)[1], 0.32, 1e-9,
        "arithmetic", "mm", "ISO 3630-1:1992, 0.02 mm for sizes to 60", "from memory", "",
    ),
]  # fmt: skip
