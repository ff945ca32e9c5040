"""Teeth, centrelines, volumes and averages against standards, geometry and published anatomy."""

from functools import cache

import numpy as np
from scipy.special import ndtr

from canalwright.anatomy import Canal, Lumen, Tooth, averages
from canalwright.anatomy.centreline import Arc, centreline, schneider
from canalwright.instruments import Profile
from tests.evidence.table import Check

NOTATION = {18: 1, 11: 8, 21: 9, 28: 16, 38: 17, 31: 24, 41: 25, 48: 32}
ROOTS = {
    "upper first premolar": 2,
    "upper first molar": 3,
    "upper second molar": 3,
    "lower first molar": 2,
    "lower second molar": 2,
}
KINDS = [Tooth(10 * q + p) for q in (1, 4) for p in range(1, 9)]


def _notation() -> float:
    return sum(Tooth(code).universal != number for code, number in NOTATION.items())


def _round_trips() -> float:
    codes = [10 * q + p for q in (1, 2, 3, 4) for p in range(1, 9)]
    return sum(Tooth.from_universal(Tooth(code).universal).code == code for code in codes)


def _fewer_canals_than_roots() -> float:
    return sum(len(averages.tooth_averages(t).usual) < ROOTS.get(t.kind, 1) for t in KINDS)


def _schneider_on_points(radius: float, turn: float) -> float:
    """Angle between the coronal axis and the chord, measured on the points of the centreline, degrees."""
    start = radius * np.radians(turn)
    points, _ = centreline(np.linspace(0, start, 400), [Arc(start, radius, np.radians(turn))])
    line = points[-1] - points[0]
    return float(np.degrees(np.arctan2(np.linalg.norm(line[:2]), line[2])))


def _arc_on_points(radius: float, turn: float) -> float:
    """Length of the arc between two points of the centreline: chord of the points, turned into arc length."""
    start = radius * np.radians(turn)
    points, _ = centreline(np.linspace(0, start, 4001), [Arc(start, radius, np.radians(turn))])
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def _least_excess() -> float:
    """Least of tangent angle less Schneider angle over radii and starts, degrees."""
    arcs = [Arc(h, r, a) for h in (4, 6, 9) for r in (2, 5, 8) for a in np.radians([10, 30, 60]) if r * a <= h]
    return float(np.degrees(min(arc.angle - schneider(arc) for arc in arcs)))


def _cone_volume(tip: float, taper: float) -> float:
    z = np.arange(161) * 0.1
    width = Profile.uniform(tip, taper)(z)
    up, across = np.outer(z, [0, 0, 1.0]), np.tile([0, 1.0, 0], (161, 1))
    return Lumen(z, width, width, up, across, width, np.pi / 4 * width**2).volume


@cache
def _usual(code: int, name: str) -> Canal:
    tooth = Tooth(code)
    length = averages.tooth_averages(tooth).length
    return Canal.from_measurements(tooth=tooth, canal=name, working_length=length - 0.5, finishing_file=(30, 0.04))


def _long_oval() -> float:
    """Share of sections at 1-5 mm with greatest width at least twice the least, over the usual canals, per cent."""
    ratios = [
        lumen.at(z, lumen.major) / lumen.at(z, lumen.minor)
        for tooth in KINDS
        if tooth.position < 8
        for name in averages.tooth_averages(tooth).usual
        for lumen in [_usual(tooth.code, name).native]
        for z in range(1, 6)
    ]
    return 100 * float(np.mean(np.array(ratios) >= 2.0))


def _apical_volume() -> float:
    """Both mesial canals of the average lower first molar between 1 and 3 mm, mm3."""
    total = 0.0
    for name in ("mesiobuccal", "mesiolingual"):
        lumen = _usual(46, name).native
        part = slice(10, 31)
        total += float(np.trapezoid(lumen.area[part], lumen.z[part]))
    return total


def _within_half_a_millimetre() -> float:
    error = averages.reading_error("length", "apex locator").value
    return 100 * float(ndtr(0.5 / error) - ndtr(-0.5 / error))


def _greatest_angle() -> float:
    return max(averages.canal_averages(t, n).angle.value for t in KINDS for n in averages.tooth_averages(t).usual)


def _wall_at_seven() -> float:
    lumen = _usual(46, "mesiobuccal").native
    return lumen.at(7, lumen.wall)


def _mean_width(code: int, name: str, level: float) -> float:
    lumen = _usual(code, name).native
    return float(np.sqrt(lumen.at(level, lumen.minor) * lumen.at(level, lumen.major)))


CHECKS = [
    Check(
        "anatomy", "ISO to Universal, wrong of eight quoted", _notation, 0, 0, "a count", "teeth",
        "ISO 3950 in a public encyclopaedia", "read in the source", "the corners of the four quadrants",
    ),
    Check(
        "anatomy", "teeth that survive the way to Universal and back", _round_trips, 32, 0, "a count", "teeth",
        "ISO 3950 and the Universal system", "closed form",
    ),
    Check(
        "anatomy", "kinds of tooth with fewer usual canals than roots", _fewer_canals_than_roots, 0, 0, "a count", "kinds",
        "usual number of roots, public encyclopaedia", "read in the source",
    ),
    Check(
        "anatomy", "Schneider angle of an arc of 60 degrees", lambda: _schneider_on_points(5, 60), 30, 1e-6, "exact geometry",
        "degrees", "chord of a circle: half the central angle", "closed form", "radius 5 mm, arc ends at the foramen",
    ),
    *(
        Check(
            "anatomy", f"length of a 60 degree arc of {radius} mm", lambda r=radius: _arc_on_points(r, 60), theirs, 5e-4,
            "printed to 0.001 mm", "mm", "radius times angle", "closed form", "sum over the points of the centreline",
        )
        for radius, theirs in ((5, 5.236), (2, 2.094))
    ),
    Check(
        "anatomy", "least excess of the tangent angle over Schneider's", _least_excess, (0.0, 60.0), 0,
        "an ordering: the angle of Weine or Pruett is never the smaller", "degrees", "Int Endod J 2025, iej.70072 (ordering)",
        "read in an abstract", "radii 2-8 mm, starts 4-9 mm, turns 10-60 degrees",
    ),
    *(
        Check(
            "anatomy", f"volume of a {round(tip * 100)}/{taper:.2f} canal over 16 mm", lambda t=tip, k=taper: _cone_volume(t, k), theirs,
            0.001, "printed to 0.001; trapezoid rule on 0.1 mm is within 0.0005 of the frustum", "mm3",
            "frustum: pi L (D2 + Dd + d2) / 12", "closed form",
        )
        for tip, taper, theirs in ((0.25, 0.02, 2.220), (0.30, 0.04, 5.259), (0.30, 0.06, 8.610), (0.40, 0.06, 10.696))
    ),
    Check(
        "anatomy", "terminus to end of the preparation, default", lambda: averages.every("end").value, 0.51, 0.1,
        "two studies of different teeth differ by as much", "mm",
        "Dummer, McGinn & Rees 1984, Int Endod J 17:192-198, foramen to constriction",
        "from memory", "front teeth and premolars",
    ),
    Check(
        "anatomy", "terminus to end of the preparation, its source", lambda: averages.every("end").value, 0.524, 0.03,
        "the default is rounded to half a millimetre", "mm", "Kuttler 1955, J Am Dent Assoc 50:544-552", "from memory",
        "age 18-25", role="calibration",
    ),
    Check(
        "anatomy", "constriction to apex, lower first molar: end plus foramen to apex", lambda: averages.every("end").value + 0.80,
        (0.95, 1.05), 0.1, "means of two roots, spread not seen", "mm",
        "Wolf et al. 2017, Int J Oral Sci; foramen to apex from Martos et al. 2009",
        "read in an abstract", "mesial 0.95, distal 1.05 mm",
        miss="two studies of different teeth do not add up: the constriction of molars lies nearer the foramen than half a "
        "millimetre, or the foramen nearer the apex; the default end carries a spread of 0.3 mm",
    ),
    Check(
        "anatomy", "length of an upper central incisor", lambda: averages.tooth_averages(Tooth(11)).length, 22.03, 1.8,
        "sources differ by 1.5 mm; one spread of ours", "mm", "popular page on tooth length", "quoted by another paper", "low quality",
    ),
    Check(
        "anatomy", "root of an upper central incisor", lambda: averages.tooth_averages(Tooth(11)).root.value, (6.7, 16.5), 0,
        "the range that was seen", "mm", "popular page on tooth length, range", "quoted by another paper", "low quality",
    ),
    Check(
        "anatomy", "long oval sections at 1-5 mm", _long_oval, 24.8, 5.0,
        "a sampling error of 1.3 and a mix of teeth that we do not know",
        "%", "Wu et al. 2000, Oral Surg Oral Med Oral Pathol 89:739-743 (293 of 1181)",
        "read in an abstract", "usual canals, no third molars",
        miss="one average canal stands for each place: single canals spread about it, and an average just under the ratio of 2 "
        "counts as none",
    ),
    Check(
        "anatomy", "volume of the mesial canals, 1 to 3 mm", _apical_volume, (0.02, 2.4), 0,
        "the range that was seen; an order of magnitude",
        "mm3", "Villas-Bôas et al. 2011, J Endod, apical volume 0.83 (0.02-2.4) mm3", "read in an abstract",
        "lower first molar, both canals",
    ),
    Check(
        "anatomy", "apex locator readings within 0.5 mm", _within_half_a_millimetre, 87.0, 1.0, "set from it", "%",
        "in vivo study with micro-CT, 20 of 23 teeth", "read in an abstract", role="calibration",
    ),
    Check(
        "anatomy", "apex locator readings within 0.5 mm, older devices", _within_half_a_millimetre, 71.7, 5.0,
        "61 canals: standard error 5.8", "%", "Arora & Gulabivala 1995, Oral Surg Oral Med Oral Pathol 79:497-503", "read in an abstract",
        "the better of two devices",
        miss="our default error is that of newer devices; give the error of yours when you know it",
    ),
    Check(
        "anatomy", "greatest average curve", _greatest_angle, 28.28, 0.3, "set from it", "degrees (Schneider)",
        "study of 398 films, means 2.76 to 28.28 degrees", "read in an abstract", role="calibration",
    ),
    Check(
        "anatomy", "wall of the mesiobuccal canal, lower first molar", _wall_at_seven,
        1.13, 0.005, "set from it", "mm", "De-Deus et al. 2019, Int Endod J 52:1501-1507", "read in an abstract", "7 mm from the terminus",
        role="calibration",
    ),
    Check(
        "anatomy", "mean width of an upper central incisor, mid-root", lambda: _mean_width(11, "single", 8.4), 0.796, 0.05,
        "set from it and rounded", "mm", "open data set, one modern upper central incisor", "open data", "8.4 mm from the terminus",
        role="calibration",
    ),
]  # fmt: skip
