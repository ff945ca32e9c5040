"""Temperatures in the section: colour strips beside the root with isotherms in numbers, and their scales.

The axis and the root surface have scales of their own: two hundred degrees of a carrier would hide the few kelvins that
matter outside. The scales print the numbers, and isotherms mark the strips, so that nothing rests on colour alone.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from canalwright.anatomy.lumen import Array
from canalwright.report.moment import Moment
from canalwright.report.options import Pen
from canalwright.report.palette import warmth
from canalwright.report.svg import el, number, path

STRIP, PITCH, CELL = 3.0, 13.0, 0.2
TALL = 10.0


@dataclass(frozen=True)
class Scale:
    """Colours of temperatures from `cool` to `hot` [deg C]: evenly in the temperature above `cool` to the power `bend`.

    `isotherms` are the levels that drawings mark, `shown` the numbers under the scale.
    """

    name: str
    cool: float
    hot: float
    bend: float
    isotherms: tuple[float, ...]
    shown: tuple[float, ...]

    def fraction(self, temperature: ArrayLike) -> Array:
        """Place of a temperature on the scale, 0 to 1."""
        clipped = np.clip(np.asarray(temperature, dtype=float), self.cool, self.hot)
        return np.asarray(((clipped - self.cool) / (self.hot - self.cool)) ** self.bend)

    def colour(self, temperature: float) -> str:
        """Colour of one temperature."""
        return warmth(float(self.fraction(temperature)))


AXIS = Scale("axis", 30.0, 230.0, 0.5, (40.0, 47.0, 60.0, 100.0, 150.0, 200.0), (37.0, 60.0, 100.0, 200.0))
SURFACE = Scale(
    "root surface", 34.0, 52.0, 1.0, (37.0, 38.0, 39.0, 40.0, 42.0, 44.0, 47.0, 50.0), (35.0, 39.0, 43.0, 47.0, 51.0)
)


def draw_strips(pen: Pen, moment: Moment, x: float) -> str:
    """Two strips, axis and root surface, with their isotherms."""
    drawn = []
    for i, (scale, values) in enumerate(((AXIS, moment.axis), (SURFACE, moment.surface))):
        left = x + i * PITCH
        z = np.arange(max(0.0, float(moment.z[0])), min(pen.upper_z, float(moment.z[-1])), CELL)
        for low, value in zip(z, np.interp(z + CELL / 2, moment.z, values), strict=True):
            top, bottom = sorted((pen.y(pen.length - low), pen.y(pen.length - low - CELL)))
            fill = scale.colour(float(value))
            drawn.append(el("rect", x=left, y=top, width=STRIP, height=bottom - top + 0.05, fill=fill))
        top, bottom = sorted((pen.y(pen.length - float(z[0])), pen.y(pen.length - float(z[-1]) - CELL)))
        muted = pen.palette.muted
        outline = path([(left, top), (left + STRIP, top), (left + STRIP, bottom), (left, bottom)], closed=True)
        drawn.append(el("path", d=outline, fill="none", stroke=muted, stroke_width=0.15))
        name = scale.name.rsplit(" ", maxsplit=1)[-1]
        drawn.append(pen.write(name, left, top - pen.options.font_size * 0.8, small=True, fill=muted))
        drawn += _isotherms(pen, scale, moment.z, values, left + STRIP)
    return el("g", *drawn, class_="cw-temperature", shape_rendering="crispEdges")


def draw_painted(pen: Pen, moment: Moment, half: Array, root: Array, at: Array) -> str:
    """For the projected section: the lumen painted by the axis temperature, the root's edge by its own.

    `half` and `root` are half widths at stations `at`, shape (m,).
    """
    drawn = []
    for low in np.arange(float(at[0]), float(at[-1]), 2 * CELL):
        pair = np.array([low, min(low + 2 * CELL + 0.02, float(at[-1]))])
        wide, outer = np.interp(pair, at, half), np.interp(pair, at, root)
        inside = AXIS.colour(float(np.interp(pair.mean(), moment.z, moment.axis)))
        outside = SURFACE.colour(float(np.interp(pair.mean(), moment.z, moment.surface)))
        corners = np.vstack([pen.frame(pair, -wide), pen.frame(pair[::-1], wide[::-1])])
        drawn.append(el("path", d=path(corners, closed=True), fill=inside))
        for side in (-1, 1):
            edge = path(pen.frame(pair, side * outer))
            drawn.append(el("path", d=edge, stroke=outside, stroke_width=1.2, fill="none"))
    return el("g", *drawn, class_="cw-temperature")


def draw_scale(pen: Pen, scale: Scale, x: float, y: float, width: float) -> str:
    """A colour scale with its name and numbers, `TALL` mm tall from `y` down."""
    steps, drawn = 48, []
    for i in range(steps):
        place = x + width * i / steps
        drawn.append(el("rect", x=place, y=y, width=width / steps + 0.05, height=2.4, fill=warmth((i + 0.5) / steps)))
    for level in scale.shown:
        at = x + width * float(scale.fraction(level))
        drawn.append(el("path", d=f"M{number(at)} {number(y + 2.4)}v0.9", stroke=pen.palette.ink, stroke_width=0.2))
        drawn.append(pen.write(f"{level:.0f}", at, y + 5.2, anchor="middle", small=True))
    drawn.append(pen.write(f"°C, {scale.name}", x + width + 1.5, y + 1.2, small=True, fill=pen.palette.muted))
    return el("g", *drawn, class_="cw-scale", shape_rendering="crispEdges")


def scale_width(pen: Pen, scale: Scale, width: float) -> float:
    """Width of a scale with its name."""
    return width + 1.5 + pen.options.width(f"°C, {scale.name}", small=True)


def _isotherms(pen: Pen, scale: Scale, z: Array, values: Array, x: float) -> list[str]:
    """A tick and a number where the temperature crosses each isotherm; crowded ones are left out, the highest kept."""
    row, drawn = pen.options.font_size * 0.95, []
    taken: list[float] = []
    for level in sorted(scale.isotherms, reverse=True):
        for i in np.flatnonzero(np.diff((values >= level).astype(int))):
            place = z[i] + (level - values[i]) / (values[i + 1] - values[i]) * (z[i + 1] - z[i])
            y = pen.y(pen.length - float(place))
            if place > pen.upper_z or any(abs(y - other) < row for other in taken):
                continue
            taken.append(y)
            tick = f"M{number(x - STRIP)} {number(y)}h{number(STRIP + 1)}"
            drawn.append(el("path", d=tick, stroke=pen.palette.ink, stroke_width=0.2))
            wide = pen.options.width(f"{level:.0f}", small=True)
            ground = pen.palette.paper
            drawn.append(el("rect", x=x + 1.2, y=y - row / 2, width=wide, height=row, fill=ground))
            drawn.append(pen.write(f"{level:.0f}", x + 1.4, y, small=True))
    return drawn
