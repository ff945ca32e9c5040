"""What a reader marks on a radiograph: points (x, y) in pixels, 0 at the centre of the first pixel, y downwards."""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canalwright.imaging.errors import ScanError

Array = NDArray[np.float64]
Point = tuple[float, float]
MOST = 60


class FilmError(ScanError):
    """Marks that do not fit the picture, or a picture in which the filling cannot be found."""


@dataclass(frozen=True)
class Marks:
    """`line`: along the canal from coronal to the root's end, 2 points or more, at least the first on the filling. `terminus`,
    `end` (apical end of the filling) and `reference` (the point that the rubber stop stood on) where they were marked; else the
    first two are found. `outline`: the root's outline as marked, from one coronal end round the apex to the other.
    """

    line: tuple[Point, ...]
    terminus: Point | None = None
    end: Point | None = None
    reference: Point | None = None
    outline: tuple[Point, ...] = ()

    @classmethod
    def of(
        cls,
        line: ArrayLike,
        terminus: ArrayLike | None = None,
        end: ArrayLike | None = None,
        reference: ArrayLike | None = None,
        outline: ArrayLike = (),
    ) -> Self:
        """From anything that is a list of points. Raises FilmError for what is none."""
        return cls(
            _points(line, 2, "the line along the canal"),
            _single(terminus),
            _single(end),
            _single(reference),
            _points(outline, 0, "the outline") if np.size(outline) else (),
        )

    def check(self, rows: int, columns: int) -> None:
        """Raises FilmError for marks outside the picture, or a line that is too short."""
        single = [p for p in (self.terminus, self.end, self.reference) if p is not None]
        for x, y in (*self.line, *self.outline, *single):
            if not (-0.5 <= x <= columns - 0.5 and -0.5 <= y <= rows - 0.5):
                raise FilmError(
                    f"mark ({x:.0f}, {y:.0f}) lies outside the picture of {columns} x {rows} pixels: mark it again"
                )
        if np.linalg.norm(np.diff(np.array(self.line), axis=0), axis=1).sum() < 20:
            raise FilmError(
                "the line along the canal is shorter than 20 pixels: mark it from coronal to the root's end"
            )


def _single(value: ArrayLike | None) -> Point | None:
    return None if value is None else _points(np.asarray(value, dtype=object)[None], 1, "a mark")[0]


def _points(values: ArrayLike, least: int, what: str) -> tuple[Point, ...]:
    try:
        array = np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        raise FilmError(f"{what} is a list of points (x, y)") from None
    if (
        array.ndim != 2
        or array.shape[1:] != (2,)
        or not least <= len(array) <= 20 * MOST
        or not np.isfinite(array).all()
    ):
        raise FilmError(f"{what} needs {least} or more points (x, y), got shape {array.shape}")
    return tuple((float(x), float(y)) for x, y in array)
