"""Instruments at their stops: plugger tips, carrier tips round by round, melt fronts."""

import numpy as np

from canalwright.instruments import Plugger
from canalwright.planning.product import Plan
from canalwright.report.body import half
from canalwright.report.moment import Moment
from canalwright.report.options import Pen
from canalwright.report.svg import el, number, path

SHANK = 1.8


def draw_plugger(pen: Pen, plugger: Plugger, z: float, key: str, shank: float = SHANK) -> str:
    """The tip of a plugger to scale: flat end, sides open above."""
    up = np.linspace(0.0, max(shank, 0.1), 7)
    up = up[up + z <= pen.upper_z + 0.5]
    wide = plugger.profile(up) / 2
    outline = np.vstack([pen.frame(z + up[::-1], -wide[::-1]), pen.frame(z + up, wide)])
    paint = pen.palette.plugger
    return el(
        "g",
        el("path", d=path(outline, closed=True), fill=paint.fill, fill_opacity=0.45),
        el("path", d=path(outline), fill="none", stroke=paint.edge, stroke_width=0.35, stroke_linejoin="round"),
        el("path", d=path(outline[len(up) - 1 : len(up) + 1]), stroke=paint.edge, stroke_width=0.8),
        class_="cw-plugger", id=pen.id(key), data_depth_mm=number(pen.length - z),
    )  # fmt: skip


def draw_carrier(pen: Pen, z: float, key: str) -> str:
    """A small triangle on the axis, its point at the carrier's stop."""
    size = 2.0 / pen.frame.scale
    across = 0.8 / pen.frame.scale / pen.frame.widen
    corners = np.vstack([pen.frame(z, 0.0), pen.frame(z + size, across), pen.frame(z + size, -across)])
    paint = pen.palette.carrier
    return el(
        "path", d=path(corners, closed=True), fill=paint.edge, stroke=pen.palette.paper, stroke_width=0.2,
        class_="cw-carrier", id=pen.id(key), data_depth_mm=number(pen.length - z),
    )  # fmt: skip


def draw_front(pen: Pen, plan: Plan, z: float, key: str) -> str:
    """The melt front: a zigzag across the lumen and a little beyond."""
    lumen = plan.lumen
    reach = float(half(pen, lumen, np.array([z]))[0]) + 0.8 / pen.frame.scale / pen.frame.widen
    teeth = max(4, 2 * round(reach * pen.frame.scale * pen.frame.widen / 0.9))
    across = np.linspace(-reach, reach, teeth + 1)
    swing = np.where(np.arange(teeth + 1) % 2 == 0, -0.3, 0.3) / pen.frame.scale
    return el(
        "path", d=path(pen.frame(z + swing, across)), fill="none", stroke=pen.palette.front.edge, stroke_width=0.35,
        stroke_linejoin="round", class_="cw-front", id=pen.id(key), data_depth_mm=number(pen.length - z),
    )  # fmt: skip


def draw_stops(pen: Pen, plan: Plan, hide: frozenset[str]) -> str:
    """All of a plan's stops, deepest drawn last."""
    length, drawn = plan.canal.length.value, []
    if "plugger" not in hide:
        drawn += [
            draw_plugger(pen, p.plugger, length - p.stop.value, f"plugger-{i}") for i, p in enumerate(plan.pluggers, 1)
        ]
    if "front" not in hide:
        drawn += [draw_front(pen, plan, length - r.front.value, f"front-{r.number}") for r in plan.rounds]
    if "carrier" not in hide:
        drawn += [draw_carrier(pen, length - r.carrier_stop.value, f"carrier-{r.number}") for r in plan.rounds]
    return "".join(drawn)


def draw_instruments_now(pen: Pen, moment: Moment) -> str:
    """Carrier and plugger to scale where they are at a moment, up to the top of the drawing."""
    drawn = []
    if moment.plugger and np.isfinite(moment.plugger_tip):
        shank = pen.upper_z - moment.plugger_tip
        drawn.append(draw_plugger(pen, moment.plugger, moment.plugger_tip, "plugger-now", shank))
    if moment.carrier and np.isfinite(moment.carrier_tip) and moment.carrier_tip < pen.upper_z:
        up = np.linspace(0.0, pen.upper_z - moment.carrier_tip, 40)
        wide = moment.carrier.profile(up) / 2
        outline = np.vstack(
            [pen.frame(moment.carrier_tip + up[::-1], -wide[::-1]), pen.frame(moment.carrier_tip + up, wide)]
        )
        paint = pen.palette.carrier
        drawn.append(
            el(
                "path", d=path(outline), fill=paint.fill, stroke=paint.edge, stroke_width=0.35, stroke_linejoin="round",
                class_="cw-carrier", id=pen.id("carrier-now"), data_depth_mm=number(pen.length - moment.carrier_tip),
            )
        )  # fmt: skip
    return "".join(drawn)
