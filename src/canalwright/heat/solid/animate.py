"""The film of a story: two sections through the root and its unrolled surface over time, as APNG or GIF.

Left to right: the section in the plane of the curve, the section across it (apex down, true to scale), and the root surface unrolled
(direction across, level upwards). Colour runs evenly from dark to light with temperature; the surface has a scale of its own, and its
47 deg C line is drawn in black. The clock, the act and both scales are written beneath.
"""

from pathlib import Path
from typing import Any

import numpy as np

from canalwright.heat.solid.pictures import section_cells, sections
from canalwright.heat.solid.space import Array
from canalwright.heat.solid.story import SolidStory
from canalwright.heat.solid.tissue import CEMENTUM, DENTINE, Solid

PIXEL = 0.05
"""Size of a pixel of the sections, mm."""
SIDE = 4.0
"""Half width of the sections, mm."""
OUTLINE = (150, 200, 200)
COLD, HOT = 35.0, 120.0
SURFACE_COLD, SURFACE_HOT = 36.0, 48.0
SECTORS, BAND = 24, 0.25
ANCHORS = np.array(
    [[13, 8, 65], [70, 20, 110], [135, 35, 105], [195, 60, 75], [235, 110, 40], [250, 175, 50], [250, 245, 180]], float
)
"""Colours of equal steps in lightness, dark violet to pale yellow; our own mixture, checked for growing luminance in the tests."""


def animate(story: SolidStory, path: str | Path, *, seconds_per_frame: float = 0.08, caution: str = "") -> Path:
    """Write the film to `path`, .png (animated) or .gif; returns the path.

    Raises ValueError for another ending, or a story that kept no film (`simulate(..., film=True)`).
    """
    path = Path(path)
    if path.suffix.lower() not in (".png", ".apng", ".gif"):
        raise ValueError(f"{path.name}: an animation is written as .png (animated) or .gif")
    if story.film.shape[1] == 0:
        raise ValueError("the story kept no film: simulate it with film=True")
    pictures = frames(story, caution)
    length = round(1000 * seconds_per_frame)
    if path.suffix.lower() == ".gif":
        kind: dict[str, Any] = {"format": "GIF", "optimize": False}
        pictures = [p.quantize(64) for p in pictures]
    else:
        kind = {"format": "PNG"}
    pictures[0].save(path, save_all=True, append_images=pictures[1:], duration=length, loop=0, **kind)
    return path


def frames(story: SolidStory, caution: str = "") -> list[Any]:
    """The pictures, `PIL.Image.Image` in RGB."""
    from PIL import Image, ImageDraw

    solid = story.solid
    x, y, z = solid.space.centres()
    first, second = sections(solid, story.film)
    up = np.arange(z[1], z[-2], PIXEL)[::-1]
    j = near(z, up)
    tooth = [middle(x, PIXEL), middle(y, PIXEL)]
    columns = [near(x, tooth[0]), near(y, tooth[1])]
    bands, surface = unrolled(story)
    lines = [edges(s[np.ix_(j, i)]) for s, i in zip(sections(solid, levels(solid)), columns, strict=True)]
    out = []
    for k, moment in enumerate(story.time):
        parts = []
        for film, i, edge in zip((first, second), columns, lines, strict=True):
            part = _colour(film[k][np.ix_(j, i)], COLD, HOT)
            part[edge] = OUTLINE
            parts += [part, np.full((len(up), 6, 3), 255, np.uint8)]
        patch = _colour(surface[k][::-1], SURFACE_COLD, SURFACE_HOT)
        patch[surface[k][::-1] >= 47.0] = 0
        high = round((bands[-1] - bands[0]) / PIXEL)
        big = np.asarray(Image.fromarray(patch).resize((6 * SECTORS, high), Image.Resampling.NEAREST))
        board = np.full((len(up), big.shape[1], 3), 255, np.uint8)
        top = max(int(np.searchsorted(-up, -bands[-1])), 0)
        rows = min(len(big), len(board) - top)
        board[top : top + rows] = big[:rows]
        picture = Image.fromarray(np.hstack([*parts, board]))
        sheet = Image.new("RGB", (picture.width, picture.height + (40 if caution else 28)), "white")
        sheet.paste(picture)
        act = story.acts[min(int(story.act[k]), len(story.acts) - 1)].act
        draw = ImageDraw.Draw(sheet)
        draw.text((4, picture.height + 2), f"{moment:6.1f} s  {type(act).__name__.lower()}", fill="black")
        scale = f"sections {COLD:.0f}-{HOT:.0f} C; surface {SURFACE_COLD:.0f}-{SURFACE_HOT:.0f} C, black from 47"
        draw.text((4, picture.height + 14), scale, fill="black")
        if caution:
            draw.text((4, picture.height + 26), caution, fill="black")
        out.append(sheet)
    return out


def levels(solid: Solid) -> Array:
    """The labels of the pictured cells, cementum as dentine."""
    labels = np.where(solid.labels == CEMENTUM, DENTINE, solid.labels)
    return np.asarray(labels.ravel()[section_cells(solid)])


def edges(labels: Array) -> Array:
    """Where a tissue meets another."""
    out = np.zeros(labels.shape, bool)
    out[:-1] |= labels[:-1] != labels[1:]
    out[:, :-1] |= labels[:, :-1] != labels[:, 1:]
    return out


def unrolled(story: SolidStory) -> tuple[Array, Array]:
    """Edges of bands of level, and the mean surface temperature by picture, band and sector (gaps filled from beside)."""
    border = np.arange(0.0, story.solid.length + BAND / 2, BAND)
    band = np.clip((story.surface.station / BAND).astype(int), 0, len(border) - 2)
    sector = np.clip((np.mod(story.surface.angle, 360.0) / 360.0 * SECTORS).astype(int), 0, SECTORS - 1)
    cell = band * SECTORS + sector
    size = (len(border) - 1) * SECTORS
    count = np.bincount(cell, minlength=size).reshape(-1, SECTORS)
    sums = np.stack([np.bincount(cell, row, minlength=size) for row in story.surface_film]).reshape(
        -1, len(border) - 1, SECTORS
    )
    total = np.maximum(count.sum(axis=1, keepdims=True), 1)
    ring = sums.sum(axis=2, keepdims=True) / total
    return border, np.asarray(np.where(count > 0, sums / np.maximum(count, 1), ring))


def _colour(t: Array, low: float, high: float) -> Any:
    """Colours of temperatures, uint8 (..., 3)."""
    at = np.clip((np.asarray(t, float) - low) / (high - low), 0, 1) * (len(ANCHORS) - 1)
    return np.stack([np.interp(at, np.arange(len(ANCHORS)), ANCHORS[:, c]) for c in range(3)], axis=-1).astype(np.uint8)


def middle(x: Array, step: float) -> Array:
    """Places from the left to the right end of a section, at most `SIDE` beyond the middle of what is fine."""
    middle = float(x[int(np.argmin(np.diff(x[1:-1]))) + 1])
    return np.arange(max(x[1], middle - SIDE), min(x[-2], middle + SIDE), step)


def near(centre: Array, at: Array) -> Any:
    """Index of the cell nearest to each place."""
    border = (centre[1:] + centre[:-1]) / 2
    return np.clip(np.searchsorted(border, at), 1, len(centre) - 2)
