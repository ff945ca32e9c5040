"""Radiograph geometry against closed forms and published orders."""

import numpy as np

from canalwright.imaging.radiograph import image as film
from canalwright.imaging.radiograph import parallax
from canalwright.imaging.radiograph.curve import curve_of, pruett, schneider
from tests.evidence.table import Check


def _tooth() -> float:
    return film.scale_from_known([[0, 0], [0, 220]], 20.0).length([[5, 0], [5, 242]]).value


def _arc(angle: float, radius: float, rest: float = 0.0) -> np.ndarray:
    a = np.radians(angle)
    s = np.linspace(0, 5 + radius * a + rest, 24)
    t, after = np.clip((s - 5) / radius, 0, a), np.maximum(s - 5 - radius * a, 0)
    x = radius * (1 - np.cos(t)) + after * np.sin(a)
    return np.column_stack([x, np.minimum(s, 5) + radius * np.sin(t) + after * np.cos(a)]) / 0.05


def _fitted(name: str) -> float:
    found = curve_of(_arc(60, 5), film.Scale(0.05, 0.0, "closed form"), draws=0)
    return float(getattr(found, name).value)


def _weine_over_schneider() -> float:
    found = curve_of(_arc(35, 6, 2), film.Scale(0.05, 0.0, "closed form"), draws=0)
    return found.weine.value / found.schneider.value


def _by_hand() -> tuple[float, float]:
    r, a = 5.0, np.radians(60)
    foramen = (r * (1 - np.cos(a)), r * np.sin(a))
    return schneider((0, -5), (0, 0), foramen), pruett(
        (0, -5), (0, 0), foramen, np.add(foramen, (np.sin(a), np.cos(a)))
    )[1]


def _moves() -> float:
    one, two = (film.project([[0, 0, 12.0]], (x, 0, 300))[0, 0] for x in (0.0, 100.0))
    return parallax.height_from(two - one, 300.0, 100.0)


CHECKS = [
    Check(
        "radiograph", "tooth length by proportion", _tooth, 22.0, 1e-9, "arithmetic", "mm",
        "true tooth = shown tooth x true file / shown file", "closed form", "file 20.0 shows 22.0, tooth shows 24.2",
    ),
    Check(
        "radiograph", "magnification at 400 mm, object 20 mm before the receptor", lambda: film.magnification(400, 20), 1.0526,
        1e-4, "rounding", "", "M = focus to receptor / focus to object", "closed form",
    ),
    Check(
        "radiograph", "Schneider of an arc of 60 degrees to the foramen, fitted", lambda: _fitted("schneider"), 30.0, 0.8,
        "24 marks along the arc; chords are shorter than arcs", "deg", "arc geometry: half the central angle", "closed form",
    ),
    Check(
        "radiograph", "Pruett of the same arc, fitted", lambda: _fitted("pruett"), 60.0, 1.5, "24 marks along the arc", "deg",
        "arc geometry: the central angle", "closed form",
    ),
    Check(
        "radiograph", "radius of the same arc, fitted", lambda: _fitted("radius"), 5.0, 0.15, "24 marks along the arc", "mm",
        "arc geometry", "closed form",
    ),
    Check(
        "radiograph", "Schneider of the same arc, three marks", lambda: _by_hand()[0], 30.0, 1e-9, "exact", "deg",
        "arc geometry: half the central angle", "closed form",
    ),
    Check(
        "radiograph", "radius of the same arc, four marks", lambda: _by_hand()[1], 5.0, 1e-9, "exact", "mm", "arc geometry",
        "closed form",
    ),
    Check(
        "radiograph", "Weine over Schneider, a curve with a straight end", _weine_over_schneider, (1.0, 2.0), 0.0,
        "the source gives the order alone: Weine larger; 2 is the arc's closed form", "", "Int Endod J 2025, iej.70072 (authors not shown)",
        "read in an abstract", "35 degrees, 6 mm, 2 mm straight",
    ),
    Check(
        "radiograph", "height above the receptor from two films", _moves, 12.0, 1e-9, "exact", "mm",
        "similar triangles: d = F m / (m - b)", "closed form", "focus 300 mm, moved 100 mm",
    ),
]  # fmt: skip
