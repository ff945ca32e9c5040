"""What marks on a film say: scale, tooth length, curve, tilt of the known instrument; and two films together: the second canal.

Marks are points (x, y) in pixels of the whole picture. The line of the tooth runs from the reference point through the marks along the
canal to the terminus. Everything is optional: `read_marks` says what it can and names what is missing.

Depth from two films. On each, the same two shadows are marked at one level: the canal that is known, and the other. Their distance
across the tooth (square to the line from reference point to terminus where both are marked, else along the rows of the picture) goes to
`parallax.depth`, in mm at the receptor: pixels times the receptor's spacing where the file states it, else the scale of the object times
the magnification F / (F - d).
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from canalwright.imaging.errors import ScanError
from canalwright.imaging.radiograph.curve import FilmCurve, curve_of
from canalwright.imaging.radiograph.image import (
    TILT_SPREAD,
    Array,
    Film,
    Scale,
    as_marks,
    line_length,
    magnification,
    scale_from_known,
    scale_from_spacing,
    tilt_from_known,
)
from canalwright.imaging.radiograph.parallax import Depth, depth
from canalwright.quantities import Quantity

Point = tuple[float, float]
FOCUS, HEIGHT = 300.0, 8.0
"""Focus and canal above the receptor [mm] where nothing else is known (our own estimate: a long cone, a sensor at the crown)."""
CURVE_MARKS = 6
USUAL = 1.05
"""Magnification of a paralleling film (our own estimate, as in `scale_from_spacing`)."""


@dataclass(frozen=True)
class Marks:
    """Marks on one film: the known instrument from tip to stop (more marks where it bends) and its length [mm], the line of the
    canal, two canals beside each other.

    `canal` runs from coronal to apical, without reference point and terminus. `pair`: the known canal, then the other, at one level.
    `end`: the apical end of a filling.
    """

    known: tuple[Point, ...] = ()
    known_mm: float | None = None
    reference: Point | None = None
    canal: tuple[Point, ...] = ()
    terminus: Point | None = None
    pair: tuple[Point, ...] = ()
    end: Point | None = None

    @property
    def line(self) -> tuple[Point, ...]:
        """Reference point, canal, terminus: what there is of it, in order."""
        ends = ((self.reference,) if self.reference else (), (self.terminus,) if self.terminus else ())
        return (*ends[0], *self.canal, *ends[1])


@dataclass(frozen=True)
class FilmReading:
    """What the marks of one film say; None for what they do not.

    `shown`: how long the known instrument shows at the receptor [mm], `tilt` how far out of the film's plane it lies at least
    [degrees], `magnified` how much larger it shows at least (a factor): for a film whose receptor spacing is known.
    `corrected`: the scale comes from the instrument. `missing`: what to mark next, in words.
    """

    scale: Scale | None
    corrected: bool
    length: Quantity | None
    curve: FilmCurve | None
    shown: float | None
    tilt: float | None
    magnified: float | None
    missing: tuple[str, ...]


def read_marks(film: Film, marks: Marks, tilt: float = TILT_SPREAD) -> FilmReading:
    """Read the marks of one film; `tilt` is the spread of the tilt between instrument and canal [degrees].

    Raises ScanError for marks outside the picture, a known length that cannot be, marks of a canal that turn back.
    """
    _inside(film, (*marks.known, *marks.line, *marks.pair, *((marks.end,) if marks.end else ())))
    missing, scale, corrected = [], None, False
    if len(marks.known) >= 2 and marks.known_mm is not None:
        scale, corrected = scale_from_known(marks.known, marks.known_mm, tilt=tilt), True
    else:
        missing.append(
            "give the length of the instrument"
            if len(marks.known) >= 2
            else "mark the known instrument at its tip and at its stop"
        )
        if film.spacing is not None:
            scale = scale_from_spacing(film.spacing)
    if marks.reference is None:
        missing.append("mark the reference point")
    if marks.terminus is None:
        missing.append("mark the terminus")
    whole = marks.reference is not None and marks.terminus is not None
    length = scale.length(marks.line) if scale is not None and whole else None
    curve = None
    along = (*marks.canal, *((marks.terminus,) if marks.terminus else ()))
    if marks.canal and len(along) < CURVE_MARKS:
        missing.append(f"mark the canal at {CURVE_MARKS - len(along)} more points for its curve")
    if len(along) >= CURVE_MARKS and marks.terminus is not None and scale is not None:
        curve = curve_of(along, scale)
    shown = tilted = magnified = None
    if corrected and film.spacing is not None and marks.known_mm is not None:
        shown = line_length(marks.known) * film.spacing
        tilted = tilt_from_known(marks.known_mm, shown, USUAL)
        magnified = max(shown / marks.known_mm, 1.0)
    return FilmReading(scale, corrected, length, curve, shown, tilted, magnified, tuple(missing))


def second_canal(
    films: tuple[Film, Film],
    marks: tuple[Marks, Marks],
    *,
    angle: float,
    towards: Literal["left", "right"],
    focus: float = FOCUS,
    height: float = HEIGHT,
) -> Depth:
    """Side and depth of the second canal from two films.

    `angle`: by how many degrees the tube was turned for the second film, `towards` which side of the picture. Raises ScanError where
    a pair is not marked or the second film has no scale, and as `parallax.depth`.
    """
    apart, spread = [], 0.0
    first = _receptor(films[0], marks[0], None, focus, height)
    for film, mark, usual in zip(films, marks, (None, first), strict=True):
        _inside(film, mark.pair)
        if len(mark.pair) < 2:
            raise ScanError("mark both canals at one level on each film: the one that is known first, then the other")
        spacing = _receptor(film, mark, usual if film.size == films[0].size else None, focus, height)
        if spacing is None:
            raise ScanError(
                "no scale for this film: mark the known instrument on it, or load one whose file states its spacing"
            )
        across = _across(mark)
        one, other = as_marks(mark.pair, 2, "a pair of canals")[:2]
        apart.append(float((other - one) @ across) * spacing * (1 if towards == "right" else -1))
        spread = max(spread, 1.5 * spacing)
    return depth(apart[0], apart[1], angle=angle, focus=focus, height=height, mark_error=max(spread, 0.02))


def _receptor(film: Film, marks: Marks, usual: float | None, focus: float, height: float) -> float | None:
    """mm at the receptor per pixel."""
    if film.spacing is not None:
        return film.spacing
    if len(marks.known) >= 2 and marks.known_mm is not None:
        return scale_from_known(marks.known, marks.known_mm).value * magnification(focus, height)
    return usual


def _across(marks: Marks) -> Array:
    """Unit vector across the tooth, towards the right of the picture."""
    if marks.reference is None or marks.terminus is None:
        return np.array([1.0, 0.0])
    along = np.subtract(marks.terminus, marks.reference)
    size = float(np.linalg.norm(along))
    if size < 1:
        raise ScanError("reference point and terminus fall on one point: mark them apart")
    across = np.array([-along[1], along[0]]) / size
    return np.asarray(across if across[0] >= 0 else -across)


def _inside(film: Film, points: tuple[Point, ...]) -> None:
    if not points:
        return
    rows, columns = film.size
    found = as_marks(points, 1, "a mark")
    if (found < -0.5).any() or (found[:, 0] > columns - 0.5).any() or (found[:, 1] > rows - 0.5).any():
        raise ScanError(f"a mark lies outside the picture of {columns} x {rows} pixels: mark it again")
