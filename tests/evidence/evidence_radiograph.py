"""Radiograph geometry against closed forms and published orders."""

import numpy as np

from canalwright.imaging.radiograph import image as film
from canalwright.imaging.radiograph import parallax
from canalwright.imaging.radiograph.curve import curve_of, pruett, schneider
from canalwright.imaging.radiograph.marks import FOCUS, HEIGHT, Marks, read_marks, second_canal
from tests.evidence.table import Check

FILM, CANAL = film.Film(np.zeros((900, 700), np.float32), spacing=0.05), 21.0


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


def _film(rng: np.random.Generator, tube: float = 0.0, apart: float = 0.0, tilt: float = 0.0) -> Marks:
    """Marks of a straight tooth 21 mm long on a film, each 1.5 pixels off; file and tooth differ in tilt by `tilt` degrees."""

    def shown(points: list[list[float]]) -> list[tuple[float, float]]:
        flat = film.project(points, (tube, 10.0, FOCUS)) / 0.05 + (300.0, 80.0)
        return [(float(x), float(y)) for x, y in flat + rng.normal(0, 1.5, flat.shape)]

    turned = float(np.cos(np.radians(tilt)))
    cusp, terminus = shown([[0, 0, HEIGHT], [0, CANAL * turned, HEIGHT]])
    stop = 20.0 + rng.normal(0, 0.25)  # the stop is read to a quarter of a millimetre
    known = shown([[0, 20.5, HEIGHT], [0, 20.5 - stop, HEIGHT]])
    pair = shown([[0, 15, HEIGHT], [0.6, 15, HEIGHT + apart]])
    return Marks(tuple(known), 20.0, cusp, (), terminus, tuple(pair))


def _covers_length() -> float:
    rng, hits = np.random.default_rng(11), 0
    for _ in range(400):
        found = read_marks(FILM, _film(rng, tilt=float(rng.normal(0, 5)))).length
        hits += found is not None and found.low <= CANAL <= found.high
    return hits / 4


def _covers_depth() -> float:
    rng, hits, turn = np.random.default_rng(12), 0, 20.0
    for _ in range(120):
        apart, true = 3.0, float(rng.normal(turn, 5.0))
        tube = float(np.tan(np.radians(true)) * (FOCUS - HEIGHT))
        marks = (_film(rng, 0.0, apart), _film(rng, tube, apart))
        try:
            found = second_canal((FILM, FILM), marks, angle=turn, towards="right").apart
        except ValueError:
            continue
        hits += found.low <= apart <= found.high
    return 100 * hits / 120


CHECKS = [
    Check(
        "radiograph", "coverage of the stated 90 % interval, tooth length from marks", _covers_length, 90.0, 6.0,
        "400 simulated films: one standard error is 1.5; the tilt shortens in one direction only", "%", "simulation: what 90 % means",
        "closed form", "marks 1.5 pixels, stop 0.25 mm, tilt between file and tooth 5 degrees, one standard deviation each",
    ),
    Check(
        "radiograph", "coverage of the stated 90 % interval, depth of a second canal", _covers_depth, (84.0, 99.0), 0.0,
        "120 simulated pairs: one standard error is 2.7; the height above the receptor is exact here, so too wide is to be expected", "%",
        "simulation: what 90 % means", "closed form", "second canal 3 mm buccally, 20 degrees supposed, 5 degrees off, marks 1.5 pixels",
    ),
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
