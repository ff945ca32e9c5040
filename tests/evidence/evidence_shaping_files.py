"""Files in curves against published fatigue tests and transportation."""

import numpy as np

from canalwright import shaping
from canalwright.anatomy import Canal, Tooth, furcation_side
from canalwright.instruments import File, Profile
from tests.evidence.table import Check
from tests.fit.canals import canal


def _turns(size: int, radius: float) -> float:
    file = File("test", Profile.uniform(size / 100, 0.0), size)
    return shaping.life(canal(size=size, taper=0.0, end=0.0, radius=radius, straight=6.0), file).turns.value


def _transport(alloy: str, radius: float) -> float:
    file = File("test", Profile.uniform(0.30, 0.06), 30, alloy=alloy)
    return shaping.transportation(canal(size=30, taper=0.06, end=0.5, radius=radius, straight=6.0), file).value


def _upper_molar() -> float:
    made = Canal.from_measurements(
        tooth=16, canal="mesiobuccal", working_length=20.0, finishing_file=(25, 0.06), curve=30.0
    )
    return shaping.transportation(made).value


def _faces_distally() -> float:
    return float(
        all(furcation_side(Tooth(t), c) == "distal" for t in (36, 46) for c in ("mesiobuccal", "mesiolingual"))
    )


FATIGUE = "Pruett, Clement & Carnes 1997, J Endod 23:77-85"
REVIEW = "Hülsmann, Donnermeyer & Schäfer 2019, Int Endod J 52:1427-1445"
CHECKS = [
    Check(
        "shaping", "turns in a curve of 5 mm over those in half that radius", lambda: _turns(30, 5.0) / _turns(30, 2.5), (1.5, 10.0), 0.0,
        "the source gives the order alone (p < .05); 10 is an order of magnitude", "", FATIGUE, "read in an abstract",
        "theirs 5 and 2 mm; ours 5 and 2.5 mm: the window of the curvature is 2 mm",
    ),
    Check(
        "shaping", "turns of size 30 over size 40 in one curve", lambda: _turns(30, 5.0) / _turns(40, 5.0), (1.05, 4.0), 0.0,
        "the source gives the order alone", "", FATIGUE, "read in an abstract", "shafts of one diameter",
    ),
    Check(
        "shaping", "width of the interval of a life, high over low",
        lambda: (q := shaping.turns_to_failure(0.05)).high / q.low, 123.0, 1e-6, "set", "",
        REVIEW, "read in an abstract", role="calibration",
    ),
    Check(
        "shaping", "scatter of lives within one set-up, as a share of our interval's half width",
        lambda: float(np.log(1.30) / (1.645 * shaping.fatigue.SPREAD)), (0.0, 1.0), 0.0,
        "one set-up (standard deviation up to 30 %) must scatter less than all of them", "", REVIEW + ", scatter", "read in an abstract",
    ),
    Check(
        "shaping", "heat-treated over superelastic life",
        lambda: shaping.turns_to_failure(0.04, "heat-treated").value / shaping.turns_to_failure(0.04).value, (3.0, 8.0), 0.0,
        "set inside the band", "", "Shen et al. 2011, J Endod 37:997-1001", "read in an abstract", role="calibration",
    ),
    Check(
        "shaping", "transportation by a superelastic 30/0.06, curve of 6 mm", lambda: _transport("superelastic", 6.0),
        (0.02, 0.40), 0.0, "the scale's ends are the band; it was set at 25/0.06 and 8 mm", "mm",
        "Peters et al. 2003, Int Endod J 36:86-92", "read in an abstract", role="calibration",
    ),
    Check(
        "shaping", "transportation by a superelastic 25/0.06, curve of 30 degrees, upper first molar", _upper_molar, (0.0, 0.1), 0.0,
        "the source: under 0.1 mm in most of 40 canals; ours is the middle of its interval", "mm",
        "Madani et al. 2014, Iran Endod J 9:109-112", "read in an abstract", "mesiobuccal canals, 20 to 40 degrees, rotary files",
    ),
    Check(
        "shaping", "side that faces the furcation, mesial canals of lower first molars", _faces_distally, 1.0, 0.0,
        "a rule, not a number: the thinnest wall lies distally in 73 % of 30 roots before shaping, in 97 % after", "",
        "micro-CT study of tapers 0.04 and 0.06 on the danger zone of lower molars, J Endod", "read in an abstract", "1: distal",
    ),
    Check(
        "shaping", "transportation, steel over heat-treated", lambda: _transport("steel", 6.0) / _transport("heat-treated", 6.0),
        (1.2, 12.0), 0.0, "the trade's order: stiffer files straighten more", "", "common practice", "common practice",
    ),
    Check(
        "shaping", "side force of 0.55 mm in a curve of 8 mm over 5 mm", lambda: shaping.side_force(0.55, 8.0, 5.0),
        40e3 * np.pi * 0.55**4 / 64 / 40, 1e-9, "exact", "N", "F = E I / (R l), I = pi d^4 / 64", "closed form",
    ),
]  # fmt: skip
