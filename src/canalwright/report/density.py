"""The density of a filling along the canal, as a drawing: what was measured, and what it would be without voids."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.assessment import Void
from canalwright.report.palette import LIGHT, Palette
from canalwright.report.svg import el, path, tag, text

Array = NDArray[np.float64]
WIDE, HIGH, LEFT, FOOT, TOP, RIGHT = 520.0, 190.0, 46.0, 34.0, 12.0, 12.0


@dataclass(frozen=True)
class Axes:
    """Stations run from left (crown) to right (apex), grey upwards; both in pixels of the drawing."""

    most_z: float
    least_z: float
    most: float

    def x(self, z: Array) -> Array:
        """Across the drawing."""
        return np.asarray(LEFT + (self.most_z - z) / max(self.most_z - self.least_z, 0.1) * (WIDE - LEFT - RIGHT))

    def y(self, grey: Array) -> Array:
        """Up the drawing."""
        return np.asarray(TOP + (1 - np.clip(grey / self.most, 0, 1.05)) * (HIGH - TOP - FOOT))


def density_svg(
    z: Array,
    grey: Array,
    whole: Array,
    voids: tuple[Void, ...],
    *,
    words: tuple[str, str, str],
    palette: Palette = LIGHT,
) -> str:
    """`z` (n,) stations, `grey` and `whole` (n,) over dentine, measured and without voids; `words`: name of the drawing, of its axes."""
    if len(z) < 2:
        return ""
    axes = Axes(float(z.max()), float(min(z.min(), 0.0)), float(max(np.max(whole), np.max(grey), 1.0)) * 1.05)
    ink = str(palette.ink)
    marks = []
    for tick in np.arange(np.ceil(axes.least_z), np.floor(axes.most_z) + 1):
        at = float(axes.x(np.array([tick]))[0])
        marks.append(el("line", x1=at, x2=at, y1=HIGH - FOOT, y2=HIGH - FOOT + 4, stroke=ink))
        marks.append(text(f"{tick:g}", x=at, y=HIGH - FOOT + 17, font_size=12, text_anchor="middle", fill=ink))
    for v in voids:
        at = float(axes.x(np.array([v.z]))[0])
        marks.append(
            el("line", x1=at, x2=at, y1=TOP, y2=HIGH - FOOT, stroke=ink, stroke_dasharray="3 3", class_="cw-void")
        )
    return el(
        "svg",
        tag("title", words[0]),
        el(
            "path",
            d=_path(axes, z, whole),
            fill="none",
            stroke=ink,
            stroke_width=1.2,
            stroke_dasharray="5 4",
            class_="cw-whole",
        ),
        el("path", d=_path(axes, z, grey), fill="none", stroke=ink, stroke_width=2, class_="cw-grey"),
        el("path", d=f"M{LEFT} {TOP}V{HIGH - FOOT}H{WIDE - RIGHT}", fill="none", stroke=ink),
        *marks,
        text(words[1], x=(WIDE + LEFT) / 2, y=HIGH - 3, font_size=12, text_anchor="middle", fill=ink),
        text(
            words[2],
            x=12,
            y=HIGH / 2,
            font_size=12,
            text_anchor="middle",
            fill=ink,
            transform=f"rotate(-90 12 {HIGH / 2})",
        ),
        viewBox=f"0 0 {WIDE:g} {HIGH:g}",
        role="img",
        xmlns="http://www.w3.org/2000/svg",
    )


def _path(axes: Axes, z: Array, values: Array) -> str:
    step = max(len(z) // 300, 1)
    return path(np.column_stack([axes.x(z[::step]), axes.y(values[::step])]))
