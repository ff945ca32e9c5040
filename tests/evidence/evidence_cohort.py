"""Virtual teeth and the two worked studies beside published figures.

The anatomy is drawn anew here; of the studies the tables beside their pages in `docs/studies` are read (`tests/cohort` holds that
they come out of the study files).
"""

import csv
from functools import cache
from pathlib import Path

import numpy as np

from canalwright import casefile, fit
from canalwright.anatomy import Canal
from canalwright.cohort.virtual import Kind, Shaping, draw_tooth
from canalwright.fit import Passage
from tests.evidence.table import Check

ROOM = "cohort"
STUDIES = Path(__file__).parents[2] / "docs" / "studies"
KINDS = (11, 12, 13, 14, 15, 16, 17, 31, 32, 33, 34, 35, 36, 37)
ORIENTATION = "invented teeth, drawn about published averages"


@cache
def _teeth(name: str) -> list[dict[str, str]]:
    with (STUDIES / f"{name}-teeth.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def _column(study: str, column: str, **where: str) -> np.ndarray:
    return np.array([float(r[column]) for r in _teeth(study) if r[column] and all(r[k] == v for k, v in where.items())])


@cache
def _walls() -> np.ndarray:
    """Walls at 7 mm of 8 sets of 50 mesiobuccal canals, (8, 50)."""
    canals = [draw_tooth(Kind(46, ("MB",)), 50, n)[0] for n in range(400)]
    return np.array([np.interp(7.0, c.native.z, c.native.wall) for c in canals]).reshape(8, 50)


def _long_oval() -> float:
    long = [
        c.native.major[i] >= 2 * c.native.minor[i]
        for code in KINDS
        for n in range(10)
        for c in draw_tooth(Kind(code), 60, n)
        for i in np.searchsorted(c.native.z, (1.0, 2.0, 3.0, 4.0, 5.0))
    ]
    return 100 * float(np.mean(long))


def _apical_volume() -> float:
    """Both mesial canals of the lower first molar, 1 to 3 mm from the terminus, mean of 200 teeth."""

    def volume(c: Canal) -> float:
        kept = (c.native.z >= 1.0 - 1e-9) & (c.native.z <= 3.0 + 1e-9)
        return float(np.trapezoid(c.native.area[kept], c.native.z[kept]))

    return float(np.mean([sum(map(volume, draw_tooth(Kind(46, ("MB", "ML")), 70, n))) for n in range(200)]))


def _deeper_by_taper() -> float:
    """How much deeper the narrowest stiff plugger gets with a file of taper 0.06 than 0.04, single-rooted teeth, mean."""
    plugger = min((p for p in casefile.generic_tray().pluggers if not p.elastic), key=lambda p: p.profile.tip)
    gains = []
    for code in (11, 34):
        for n in range(24):
            narrow, wide = (
                draw_tooth(Kind(code, shaping=Shaping(taper=taper, size=30)), 80, n)[0] for taper in (0.04, 0.06)
            )
            reached = [float(fit.reaches([plugger], Passage.of(c))[0].z[0]) for c in (narrow, wide)]
            gains.append(reached[0] - reached[1])
    return float(np.mean(gains))


def _ratio() -> float:
    lower, upper = (
        np.median(_column("heat", "rise", group=f"{jaw} central incisor", protocol="2 s")) for jaw in ("lower", "upper")
    )
    return float(lower / upper)


def _under() -> float:
    rise = _column("heat", "rise", group="lower first molar, mesiobuccal", protocol="2 s")
    return 100 * float(np.mean(rise <= 10.0))


def _explained() -> float:
    where = {"group": "lower first molar, mesiobuccal", "protocol": "2 s"}
    return float(np.corrcoef(_column("heat", "rise", **where), _column("heat", "least_wall", **where))[0, 1] ** 2)


def _front() -> float:
    return float(np.median(_column("heat", "front", group="upper central incisor", protocol="4 s"))) + 0.5


def _stop() -> float:
    return float(np.median(_column("reach", "stop_short", protocol="1 round, stiff from 0.50")))


DIEMER = "Diemer, Sinan & Calas 2006, J Endod 32:123-126"

CHECKS = [
    Check(
        ROOM, "thinnest wall among 50 mesiobuccal canals of lower molars", lambda: float(np.median(_walls().min(axis=1))), 0.67, 0.10,
        "half of the standard deviation: an extreme of 50", "mm", "De-Deus et al. 2019, Int Endod J 52:1501-1507", "read in an abstract",
        "7 mm level; median of 8 sets; mean and deviation set the draw, the range did not",
    ),
    Check(
        ROOM, "thickest wall among 50 mesiobuccal canals of lower molars", lambda: float(np.median(_walls().max(axis=1))), 1.93, 0.30,
        "an extreme of 50 on the long side", "mm", "De-Deus et al. 2019, Int Endod J 52:1501-1507", "read in an abstract",
        "7 mm level; median of 8 sets; mean and deviation set the draw, the range did not",
    ),
    Check(
        ROOM, "sections whose greatest width is at least twice the least, 1 to 5 mm from the apex", _long_oval, 24.8, 10.0,
        "another mix of teeth", "%", "Wu et al. 2000, Oral Surg Oral Med Oral Pathol 89:739-743", "read in an abstract", ORIENTATION,
    ),
    Check(
        ROOM, "volume of the mesial canals of the lower first molar, 1 to 3 mm", _apical_volume, 0.83, 0.40,
        "half of the mean; single roots ran from 0.02 to 2.4", "mm3", "Villas-Bôas et al. 2011, J Endod", "read in an abstract",
        "both canals together, isthmus left out",
    ),
    Check(
        ROOM, "how much deeper the narrowest stiff plugger gets after more flare", _deeper_by_taper, 1.76, 0.50,
        "their flaring instruments are not known: taper 0.06 against 0.04 here", "mm", DIEMER, "read in an abstract",
        "48 upper central incisors and lower first premolars, size 30",
        miss="a plugger of tip d gets to (d - D0) / taper from the end of a canal that the file alone made: 0.8 mm deeper for 0.40 mm in "
        "a size 30, 1.7 mm for 0.50 mm; the canals drawn here are by nature wider than the file over much of that way, and the "
        "narrowest plugger is thinner than theirs",
    ),
    Check(
        ROOM, "stop of stiff pluggers from 0.50 mm, median", _stop, (5.0, 7.0), 0.5,
        "stops stand 1 mm short of the reach here", "mm from the end", DIEMER, "read in an abstract",
        "curved mesiobuccal canals of lower molars, size 30, taper 0.04; theirs straighter than 15 degrees",
    ),
    Check(
        ROOM, "rise of lower over upper central incisors", _ratio, 2.6, 0.8, "another way of heating: injected at 160 deg C, in air", "",
        "J Endod 2006 (May), infrared thermography of injected gutta-percha: 22.1 and 8.5 K", "read in an abstract",
        "medians, 2 s at 200 deg C, in tissue",
    ),
    Check(
        ROOM, "lower molars whose expected rise stays under 10 K with blood flow", _under, 100.0, 5.0,
        "their one tooth against a population", "%", "J Endod 2018, finite elements of one lower first molar, single wave and multi-step",
        "read in an abstract", "mesiobuccal canals, 2 s at 200 deg C",
        miss="the (r, z) model lays the least dentine all round the canal, while a mesial root is thin on one side only; and the walls "
        "drawn here spread to 0.7 mm, while theirs was one tooth. `heat3d` takes the uneven wall",
    ),
    Check(
        ROOM, "variance of the rise that the wall explains in lower molars", _explained, (0.34, 0.53), 0.15,
        "theirs: time to 10 K, four carriers, extracted teeth", "R2", "SVOA Dentistry 2026, wireless heated pluggers in vitro",
        "read in an abstract",        "mesiobuccal canals, 2 s at 200 deg C, least wall of the coronal part",
        miss="the virtual teeth of one protocol differ in little but their anatomy: no probe that sits a little elsewhere, no hand, no "
        "other carrier blurs what the wall does; their times to 10 K hold all of that",
    ),
    Check(
        ROOM, "deepest soft gutta-percha in upper central incisors, from the apex", _front, (2.0, 4.0), 0.5,
        "between the levels at which 52 and 44 deg C were measured", "mm", "Blum, Parahy & Machtou 1997, J Endod 23:307-311",
        "read in an abstract",        "median, 4 s at 200 deg C",
    ),
]  # fmt: skip
