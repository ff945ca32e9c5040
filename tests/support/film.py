"""An invented periapical film: a molar root with two canals, one of them buccal, and a file of known length in the other.

Everything is projected from space by similar triangles (`imaging.radiograph.image.project`), so every mark has a known truth. The file and
the known canal lie in the plane `HEIGHT` above the receptor, the second canal `APART` farther from it.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter

from canalwright.imaging.radiograph.image import project

Array = NDArray[np.float64]
FOCUS, HEIGHT, APART, SPACING = 300.0, 8.0, 3.0, 0.05
ROWS, COLUMNS = 640, 480
FILE = 20.0
"""Length of the file from tip to stop, mm."""
SECOND_AT = 16.0
"""Depth from the cusp [mm] at which the two canals are marked beside each other."""


@dataclass(frozen=True)
class Film:
    """A drawn film and where things show on it, in pixels (x, y)."""

    picture: Image.Image
    cusp: tuple[float, float]
    canal: list[tuple[float, float]]
    terminus: tuple[float, float]
    known: list[tuple[float, float]]
    """Tip, stop, then between, as one marks them."""
    pair: list[tuple[float, float]]

    def save(self, path: Path) -> Path:
        """Write it; the kind follows from the suffix."""
        self.picture.save(path)
        return path


def line(depth: Array, apart: float = 0.0) -> Array:
    """The canal at depths from the cusp [mm], shape (n, 3): straight to 13 mm, then an arc of 12 mm radius towards +x."""
    bent = np.maximum(depth - 13.0, 0.0) / 12.0
    x = 12.0 * (1 - np.cos(bent)) + apart * 0.35
    y = np.minimum(depth, 13.0) + 12.0 * np.sin(bent)
    return np.column_stack([x, y, np.full_like(depth, HEIGHT + apart)])


def film(tube: float = 0.0) -> Film:
    """The film taken with the focus moved by `tube` mm to the right of the picture."""

    def shown(points: Array) -> list[tuple[float, float]]:
        flat = project(points, (tube, 11.0, FOCUS)) + (11.0, 4.0)
        return [(float(x / SPACING), float(y / SPACING)) for x, y in flat]

    picture = Image.new("L", (COLUMNS, ROWS), 38)
    pen = ImageDraw.Draw(picture)
    depth = np.linspace(0.0, 21.5, 80)
    axis = line(depth)
    half = np.interp(depth, [0, 3, 8, 14, 20, 21.5], [4.2, 4.6, 3.6, 2.8, 1.6, 0.5])
    left, right = axis.copy(), axis.copy()
    left[:, 0] -= half
    right[:, 0] += half
    pen.polygon(shown(np.vstack([left, right[::-1]])), fill=150)
    pen.polygon(
        [p for d, p in zip(depth, shown(left), strict=True) if d < 7]
        + [p for d, p in zip(depth[::-1], shown(right)[::-1], strict=True) if d < 7],
        fill=205,
    )
    for apart, wide in ((0.0, 7), (APART, 6)):
        pen.line(shown(line(np.linspace(6.0, 21.0, 60), apart)), fill=105, width=wide, joint="curve")
    known = line(np.array([21.0, 21.0 - FILE, 19.5, 18.0, 16.0, 14.0]))
    pen.line(shown(line(np.linspace(21.0 - FILE, 21.0, 60))), fill=245, width=3)
    picture = picture.filter(ImageFilter.GaussianBlur(1.2))
    noise = np.random.default_rng(4).normal(0, 3.0, (ROWS, COLUMNS))
    greys = np.clip(np.asarray(picture, dtype=float) + noise, 0, 255).astype(np.uint8)
    second = np.vstack([line(np.array([SECOND_AT])), line(np.array([SECOND_AT]), APART)])
    return Film(
        Image.fromarray(greys),
        shown(line(np.array([0.0])))[0],
        shown(line(np.linspace(7.0, 19.5, 8))),
        shown(line(np.array([21.0])))[0],
        shown(known),
        shown(second),
    )
