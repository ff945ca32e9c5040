"""What will fill the canal: the cone at its seat, the apical gutta-percha, the backfill portions, the post."""

import numpy as np

from canalwright.anatomy.lumen import Lumen
from canalwright.planning.product import Plan
from canalwright.report.body import half, within
from canalwright.report.frame import band
from canalwright.report.moment import Moment
from canalwright.report.options import Pen
from canalwright.report.svg import el, path


def definitions(pen: Pen) -> str:
    """Hatches: each filling has its own, so that a grey print still tells them apart."""
    p = pen.palette

    def hatch(name: str, size: float, angle: float, ground: str, line: str, width: float) -> str:
        return el(
            "pattern",
            el("rect", width=size, height=size, fill=ground),
            el("path", d=f"M0 0V{size}", stroke=line, stroke_width=width),
            id=pen.id(f"hatch-{name}"), width=size, height=size, patternUnits="userSpaceOnUse",
            patternTransform=f"rotate({angle})",
        )  # fmt: skip

    return el(
        "defs",
        hatch("odd", 1.1, 45, p.backfill.fill, p.backfill.edge, 0.18),
        hatch("even", 1.1, -45, p.backfill.fill, p.backfill.edge, 0.18),
        hatch("post", 0.9, 0, p.post.fill, p.post.edge, 0.15),
        hatch("soft", 0.8, 90, p.cone.fill, p.front.edge, 0.18),
        hatch("trabeculae", 1.6, 60, p.bone.fill, p.bone.edge, 0.12),
    )


def draw_filling(pen: Pen, plan: Plan, hide: frozenset[str]) -> str:
    """Apical gutta-percha solid, each portion hatched in turn, a post upright hatched."""
    lumen, canal = plan.lumen, plan.canal
    seat = canal.length.value - plan.cone.seat.value
    drawn = []
    if "cone" not in hide:
        top = canal.length.value - _floor(plan)
        drawn.append(
            _part(
                pen, lumen, max(seat, float(lumen.z[0])), top, pen.palette.cone.fill, pen.palette.cone.edge, "cw-cone"
            )
        )
    if "backfill" not in hide:
        drawn += [
            _part(
                pen, lumen, canal.length.value - p.bottom.value, canal.length.value - p.top.value,
                pen.url(f"hatch-{'odd' if p.number % 2 else 'even'}"), pen.palette.backfill.edge, "cw-backfill",
                f"portion-{p.number}",
            )
            for p in plan.portions
        ]  # fmt: skip
    if canal.post and "post" not in hide:
        level = canal.length.value - plan.backfill_top.value
        drawn.append(
            _part(pen, lumen, level, pen.upper_z, pen.url("hatch-post"), pen.palette.post.edge, "cw-post", "post")
        )
    return "".join(drawn)


def _floor(plan: Plan) -> float:
    """Depth at which the downpack ends and the backfill begins."""
    if plan.portions:
        return plan.portions[0].bottom.value
    return plan.rounds[-1].plugger_stop.value if plan.rounds else plan.backfill_top.value


def draw_filling_now(pen: Pen, plan: Plan, moment: Moment) -> str:
    """The filling as it stands at a moment: portions hatched, the soft part ruled across."""
    lumen, length, edge = plan.lumen, plan.canal.length.value, pen.palette.cone.edge
    floor = max(length - plan.cone.seat.value, float(lumen.z[0]))
    portions = plan.portions if moment.backfilled else ()
    plug = min(moment.top, length - portions[0].bottom.value) if portions else moment.top
    drawn = [_part(pen, lumen, floor, plug, pen.palette.cone.fill, edge, "cw-cone")]
    drawn += [
        _part(
            pen, lumen, length - p.bottom.value, min(length - p.top.value, moment.top),
            pen.url(f"hatch-{'odd' if p.number % 2 else 'even'}"), pen.palette.backfill.edge, "cw-backfill",
        )
        for p in portions
    ]  # fmt: skip
    if moment.soft:
        drawn.append(_part(pen, lumen, max(moment.front, floor), moment.top, pen.url("hatch-soft"), edge, "cw-soft"))
    return "".join(drawn)


def draw_cone(pen: Pen, plan: Plan) -> str:
    """Outline of the master cone at its seat; what is cut off it dashed below.

    The canal ends at the terminus, and so do the dashes: where more is cut than there is room for, a torn edge says that the piece is
    longer than it is drawn.
    """
    cone, trim = plan.cone.cone, plan.cone.trim.value
    seat = plan.canal.length.value - plan.cone.seat.value
    top = min(pen.upper_z, float(plan.lumen.z[-1]))
    kept = np.linspace(seat, max(top, seat), 40)
    wide = cone.profile.cut(trim)(kept - seat) / 2
    edge = pen.palette.cone.edge
    outline = np.vstack([pen.frame(kept[::-1], -wide[::-1]), pen.frame(kept, wide)])
    drawn = [el("path", d=path(outline), stroke=edge, stroke_width=0.3)]
    if trim > 0 and seat > float(plan.lumen.z[0]):
        lost = np.linspace(max(seat - trim, float(plan.lumen.z[0])), seat, 5)
        thin = cone.profile(lost - (seat - trim) + 1e-9) / 2
        rest = np.vstack([pen.frame(lost[::-1], -thin[::-1]), pen.frame(lost, thin)])
        drawn.append(el("path", d=path(rest), stroke=edge, stroke_width=0.2, stroke_dasharray="0.5 0.5"))
        if seat - trim < lost[0] - 0.05:
            swing = np.array([0.0, 0.15, -0.15, 0.15, -0.15, 0.0])
            torn = pen.frame(lost[0] + swing, np.linspace(-1.6, 1.6, 6) * thin[0])
            drawn.append(el("path", d=path(torn), stroke=edge, stroke_width=0.25, class_="cw-torn"))
    return el("g", *drawn, fill="none", class_="cw-cone-outline", id=pen.id("cone"))


def _part(
    pen: Pen, lumen: Lumen, low: float, high: float, fill: str, edge: str, kind: str, key: str | None = None
) -> str:
    z = within(pen, lumen, low, high)
    if len(z) < 2:
        return ""
    wide = half(pen, lumen, z)
    return el(
        "path", d=path(band(pen.frame, z, -wide, wide), closed=True), fill=fill, stroke=edge, stroke_width=0.15,
        class_=kind, id=pen.id(key) if key else None,
    )  # fmt: skip
