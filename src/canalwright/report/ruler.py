"""The ruler: depth from the reference point in mm, as the rubber stop shows it, with a fine grid across the drawing."""

from collections.abc import Sequence

import numpy as np

from canalwright.report.options import Pen
from canalwright.report.svg import el, number, path

TICKS = {5: 2.6, 1: 1.5}
WIDTH = 9.0


Box = tuple[float, float, float, float]


def draw_ruler(pen: Pen, x: float, right: float, bottom: float, avoid: Sequence[Box] = ()) -> str:
    """The straight ruler with its edge at `x`; `bottom` is its last depth [mm].

    Grid lines go on to `right` but break at the boxes to `avoid` (left, top, right, bottom).
    """
    first, last = int(np.ceil(pen.top - 1e-9)), int(np.floor(bottom + 1e-9))
    p = pen.palette
    drawn = [
        el("path", d=f"M{number(x)} {number(pen.y(pen.top))}V{number(pen.y(bottom))}", stroke=p.ink, stroke_width=0.25)
    ]
    for depth in range(first, last + 1):
        y, five = pen.y(depth), depth % 5 == 0
        if five:
            drawn.append(
                el("path", d=_broken(x, right, y, avoid), stroke=p.hairline, stroke_width=0.15, class_="cw-grid")
            )
        drawn.append(_numeral(pen, depth, x - TICKS[5] - 0.8, y))
        length = TICKS[5 if five else 1]
        drawn.append(
            el(
                "path", d=f"M{number(x)} {number(y)}H{number(x - length)}", stroke=p.ink,
                stroke_width=0.3 if five else 0.2, class_="cw-tick", data_depth_mm=str(depth),
            )
        )  # fmt: skip
    if pen.top > 0:
        way = 1.0 if pen.frame.up else -1.0
        zigzag = ((0.0, 0.0), (0.7, 0.5), (-0.7, 1.3), (0.0, 1.8), (0.0, 2.5))
        d = path([(x + across, pen.y(pen.top) + way * along) for across, along in zigzag])
        drawn.append(
            el("path", d=d, fill="none", stroke=p.ink, stroke_width=0.25, stroke_linejoin="round", class_="cw-break")
        )
    if pen.frame.scale >= 4:
        halves = np.arange(first - 0.5, last + 0.5, 1.0)
        d = "".join(f"M{number(x)} {number(pen.y(h))}h-0.8" for h in halves if pen.top <= h <= bottom)
        drawn.append(el("path", d=d, stroke=p.muted, stroke_width=0.15))
    return el("g", *drawn, class_="cw-ruler", id=pen.id("ruler"))


def draw_curved_ruler(pen: Pen, across: float, bottom: float) -> str:
    """Ticks that follow the canal, `across` mm to the side of it, for the projected drawing."""
    p, drawn = pen.palette, []
    depths = np.arange(pen.top, bottom + 0.05, 0.1)
    drawn.append(
        el("path", d=path(pen.frame(pen.length - depths, across)), fill="none", stroke=p.ink, stroke_width=0.25)
    )
    for depth in range(int(np.ceil(pen.top)), int(np.floor(bottom + 1e-9)) + 1):
        five = depth % 5 == 0
        places = across - np.array([0.0, TICKS[5 if five else 1], TICKS[5] + 2.4]) / pen.frame.scale
        inner, outer, numeral = pen.frame(np.full(3, pen.length - depth), places)
        drawn.append(
            el(
                "path",
                d=path([inner, outer]),
                stroke=p.ink,
                stroke_width=0.3 if five else 0.2,
                class_="cw-tick",
                data_depth_mm=str(depth),
            )
        )
        drawn.append(_numeral(pen, depth, numeral[0], numeral[1], anchor="middle"))
    return el("g", *drawn, class_="cw-ruler", id=pen.id("ruler"))


def _broken(left: float, right: float, y: float, avoid: Sequence[Box]) -> str:
    """A horizontal line that leaves out the boxes it would cross."""
    start, d = left, ""
    for box in sorted(b for b in avoid if b[1] <= y <= b[3]):
        if box[0] > start:
            d += f"M{number(start)} {number(y)}H{number(box[0])}"
        start = max(start, box[2])
    return d + (f"M{number(start)} {number(y)}H{number(right)}" if right > start else "")


def _numeral(pen: Pen, depth: int, x: float, y: float, anchor: str = "end") -> str:
    five = depth % 5 == 0
    if not five and pen.frame.scale < 1.1 * pen.options.font_size:
        return ""
    return pen.write(
        str(depth), x, y, anchor=anchor, bold=five, small=not five, fill=None if five else pen.palette.muted
    )
