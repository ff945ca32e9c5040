"""The longitudinal section of a canal with its ruler: the one picture that returns everywhere.

To scale: `scale` paper mm for one canal mm, along and across (unless `widen` says otherwise, and then the drawing
says so too). Every part carries a class `cw-<kind>`, every mark an id and its depth in `data-depth-mm`, so that a page
can restyle or animate it. Colours are attributes, not style sheets: what a page's own CSS says goes first.
"""

from dataclasses import dataclass, replace

import numpy as np

from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Lumen
from canalwright.planning.product import Plan
from canalwright.report import filling, ruler, stops, warmth
from canalwright.report.body import draw_bone, draw_edges, draw_lumen, draw_portal, draw_root, root
from canalwright.report.frame import Frame
from canalwright.report.margin import LANE, LANES, Label, box, column, draw_bar, draw_label, interval_width, label_width
from canalwright.report.marks import Mark, canal_marks, plan_marks
from canalwright.report.moment import Moment
from canalwright.report.options import Options, Pen
from canalwright.report.svg import el, number, tag

EDGE, ELBOW, ROW, SCALE = 0.5, 4.5, 1.3, 30.0


@dataclass(frozen=True)
class Scene:
    """What is to be drawn: a canal, its shaped lumen, and where there is one a plan and a moment of its simulation."""

    canal: Canal
    shaped: Lumen
    plan: Plan | None
    moment: Moment | None
    marks: tuple[Mark, ...]


@dataclass(frozen=True)
class Layout:
    """Where things stand on the paper [mm]: columns from left to right, and the height."""

    ruler_x: float
    left_x: float
    root_x: float
    root_right: float
    lanes_right: float
    label_x: float
    width: float
    head: float
    height: float
    end: float


def section_svg(
    subject: Plan | Canal, *, lumen: Lumen | None = None, moment: Moment | None = None, options: Options | None = None
) -> str:
    """The section of a plan, or of a canal alone (`lumen` is then its shaped lumen), as an SVG document sized in mm.

    With a `moment` of the plan's simulation it shows the filling, the instruments and the temperatures at that moment
    instead of all stops. Raises ValueError for a moment without a plan.
    """
    options = options or Options()
    scene = _scene(subject, lumen, moment, options)
    canal = scene.canal
    frame = (
        Frame.projected(canal, scale=options.scale)
        if options.projected
        else Frame.straightened(canal, scale=options.scale, widen=options.widen)
    )
    pen = Pen(frame, options, canal.length.value, _top(scene, options))
    left = [] if options.projected else [m for m in scene.marks if m.left and not m.key.endswith("-now")]
    right = [m for m in scene.marks if m not in left]
    layout, pen = _layout(scene, pen, left, right)
    row, end = options.font_size * ROW, layout.end

    columns = []
    for group, at_left, x, elbow in (
        (left, True, layout.left_x, layout.root_x - 1.0),
        (right, False, layout.label_x, layout.lanes_right),
    ):
        room = interval_width(group, options)
        wanted = [Label(m, _anchor(pen, m, scene.shaped, at_left), at_left) for m in group]
        columns += [(item, x, elbow, room) for item in column(wanted, row, layout.head, end)]
    boxes = [box(item, x, options, room) for item, x, _, room in columns]

    drawn = [_ruler(scene, pen, layout, boxes), *_tooth(scene, pen)]
    drawn += [draw_label(pen, item, x, elbow, room) for item, x, elbow, room in columns]
    if scene.moment and not options.projected:
        drawn.append(warmth.draw_strips(pen, scene.moment, layout.root_right + 2.0))
    elif not options.projected:
        drawn += [draw_bar(pen, m, layout.root_right + (LANES[m.kind] + 1) * LANE) for m in right]
    drawn += _captions(scene, pen, layout)
    return _document(scene, pen, layout, drawn)


def width_mm(svg: str) -> float:
    """Width of a drawing made here [mm]."""
    return float(svg.split('width="', 1)[1].split("mm", 1)[0])


def _scene(subject: Plan | Canal, lumen: Lumen | None, moment: Moment | None, options: Options) -> Scene:
    if isinstance(subject, Canal):
        if moment is not None:
            raise ValueError("a moment needs the plan that was simulated, not a canal alone")
        marks = canal_marks(subject)
        scene = Scene(subject, lumen or subject.native, None, None, tuple(marks))
    else:
        length = subject.canal.length.value
        marks = [*canal_marks(subject.canal), *moment.marks(length)] if moment else plan_marks(subject)
        scene = Scene(subject.canal, subject.lumen, subject, moment, tuple(marks))
    return replace(scene, marks=tuple(m for m in scene.marks if m.kind not in options.hide | options.quiet))


def _top(scene: Scene, options: Options) -> float:
    """Depth at which the drawing begins: a whole mm above the highest thing shown."""
    if options.whole:
        return 0.0
    depths = [m.depth.value for m in scene.marks if not m.key.endswith("-now")]
    depths.append(scene.canal.depth(float(scene.shaped.z[-1])))
    return float(max(0.0, np.floor(min(depths) - 0.8)))


def _layout(scene: Scene, pen: Pen, left: list[Mark], right: list[Mark]) -> tuple[Layout, Pen]:
    """Room for everything, and the pen with its frame moved to its place."""
    options, frame = pen.options, pen.frame
    row = options.font_size * ROW
    z, wide = root(pen, scene.shaped)
    aside = 1.2 if scene.canal.crest is not None else 0.3
    beyond = -float(wide.max()) - aside - 0.3 - ruler.WIDTH / frame.scale if options.projected else -wide - aside
    outline = np.vstack(
        [frame(z, beyond), frame(z, wide + aside), frame(z[0] - aside, 0.0), frame(pen.upper_z, 0.0), frame(0.0, 0.0)]
    )
    (x_low, y_low), (x_high, y_high) = outline.min(axis=0), outline.max(axis=0)
    widths = []
    for group in (left, right):
        room = interval_width(group, options)
        widths.append(max((label_width(m, options, room) for m in group), default=0.0))
    lanes = 2 * warmth.PITCH + 1.0 if scene.moment else (max(LANES.values()) + 1) * LANE + 1.0 if right else 0.0
    ruler_x = EDGE + ruler.WIDTH
    left_x = ruler_x + 2.0 + widths[0]
    root_x = EDGE if options.projected else left_x + ELBOW
    root_right = root_x + float(x_high - x_low)
    lanes_right = root_right + (1.0 if options.projected else lanes)
    label_x = lanes_right + ELBOW
    tall = float(y_high - y_low)
    slack = max(0.0, max(len(left), len(right)) * row - tall) / 2
    head = row * 1.7 + (row if scene.moment else 0.0)
    foot = row * (2.2 if frame.up and pen.top > 0 else 1.5) + (warmth.TALL if scene.moment else 0.0)
    caption = EDGE + max(options.width(_caption(scene)), options.width(_note(scene, options)))
    if scene.moment:
        caption = max(caption, sum(warmth.scale_width(pen, s, SCALE) + 4.0 for s in (warmth.AXIS, warmth.SURFACE)))
    layout = Layout(
        ruler_x=ruler_x, left_x=left_x, root_x=root_x, root_right=root_right, lanes_right=lanes_right, label_x=label_x,
        width=max(label_x + widths[1], caption) + EDGE, head=head, height=head + 2 * slack + tall + foot, end=head + 2 * slack + tall,
    )  # fmt: skip
    return layout, replace(pen, frame=replace(frame, x0=root_x - float(x_low), y0=head + slack - float(y_low)))


def _ruler(scene: Scene, pen: Pen, layout: Layout, boxes: list[ruler.Box]) -> str:
    length = scene.canal.length.value
    if not pen.options.projected:
        return ruler.draw_ruler(pen, layout.ruler_x, layout.label_x - 1.0, length, boxes)
    _, wide = root(pen, scene.shaped)
    aside = 1.2 if scene.canal.crest is not None else 0.3
    return ruler.draw_curved_ruler(pen, -float(wide.max()) - aside - 0.3, length)


def _tooth(scene: Scene, pen: Pen) -> list[str]:
    """Bone, root, canal and what is in it, back to front."""
    canal, shaped, plan, hide = scene.canal, scene.shaped, scene.plan, pen.options.hide
    drawn = [draw_bone(pen, canal, shaped), draw_root(pen, shaped)]
    if "portal" not in hide:
        drawn += [draw_portal(pen, p, i, shaped) for i, p in enumerate(canal.portals, 1)]
    drawn.append(draw_lumen(pen, shaped))
    if plan and scene.moment:
        if pen.options.projected:
            z, wide = root(pen, shaped)
            half = np.interp(z, shaped.z, pen.frame.half_width(shaped))
            drawn.append(warmth.draw_painted(pen, scene.moment, half, wide, z))
        else:
            drawn.append(filling.draw_filling_now(pen, plan, scene.moment))
    elif plan:
        drawn.append(filling.draw_filling(pen, plan, hide))
    drawn.append(draw_edges(pen, canal.native, shaped))
    if scene.moment:
        drawn.append(stops.draw_instruments_now(pen, scene.moment))
    elif plan:
        drawn.append(filling.draw_cone(pen, plan) if "cone" not in hide else "")
        drawn.append(stops.draw_stops(pen, plan, hide))
    return drawn


def _anchor(pen: Pen, mark: Mark, lumen: Lumen, left: bool) -> tuple[float, float]:
    """Where the leader of a mark begins: the root surface for what lies outside it, else the lumen's edge."""
    z = pen.length - mark.depth.value
    at, wide = root(pen, lumen) if mark.key in ("cej", "crest") else (lumen.z, pen.frame.half_width(lumen))
    x, y = pen.frame(z, (-1.0 if left else 1.0) * float(np.interp(z, at, wide)))[0]
    return float(x), float(y)


def _captions(scene: Scene, pen: Pen, layout: Layout) -> list[str]:
    row, muted = pen.options.font_size * ROW, pen.palette.muted
    drawn = [pen.write(_caption(scene), EDGE, row * 0.7, fill=muted)]
    foot = layout.height - row * 0.6
    if scene.moment:
        m = scene.moment
        drawn.append(pen.write(f"{m.time:.1f} s", EDGE, row * 1.7, bold=True))
        clock = pen.options.width(f"{m.time:.1f} s", bold=True)
        drawn.append(pen.write(m.words, EDGE + clock + 2.0, row * 1.7))
        x = EDGE + 2.0
        for scale in (warmth.AXIS, warmth.SURFACE):
            drawn.append(warmth.draw_scale(pen, scale, x, foot - warmth.TALL, SCALE))
            x += warmth.scale_width(pen, scale, SCALE) + 5.0
    drawn.append(pen.write(_note(scene, pen.options), EDGE, foot, fill=muted))
    return drawn


def _caption(scene: Scene) -> str:
    return f"mm from {scene.canal.reference}"


def _note(scene: Scene, options: Options) -> str:
    form = "projected on the plane of greatest curvature" if options.projected else "straightened"
    wide = f", width ×{options.widen:g}" if options.widen != 1 else ""
    run = ", one run with the values as read" if scene.moment else ""
    return f"{form}, {options.scale:g} : 1{wide}{run}"


def _document(scene: Scene, pen: Pen, layout: Layout, drawn: list[str]) -> str:
    canal, width, height = scene.canal, number(layout.width), number(layout.height)
    listed = "; ".join(f"{m.words} {m.depth.value:.1f}" for m in sorted(scene.marks, key=lambda m: m.depth.value))
    now = f" At {scene.moment.time:.1f} s: {scene.moment.words}." if scene.moment else ""
    return el(
        "svg",
        tag("title", f"Longitudinal section, tooth {canal.tooth.code}, {canal.name} canal", id=pen.id("title")),
        tag("desc", f"Depths in mm from the {canal.reference}: {listed}.{now}", id=pen.id("desc")),
        filling.definitions(pen),
        el("rect", width=width, height=height, fill=pen.palette.paper) if pen.options.background else "",
        *drawn,
        xmlns="http://www.w3.org/2000/svg", width=f"{width}mm", height=f"{height}mm", viewBox=f"0 0 {width} {height}",
        role="img", aria_labelledby=f"{pen.id('title')} {pen.id('desc')}", font_family=pen.options.font,
        class_="cw-section", **_place(pen),
    )  # fmt: skip


def _place(pen: Pen) -> dict[str, str | float | None]:
    """Where a page that draws on the straightened section finds its places: y = data-y + data-way * data-scale * depth."""
    if pen.options.projected:
        return {}
    frame = pen.frame
    return {
        "data_scale": frame.scale, "data_widen": frame.widen, "data_x": frame.x0, "data_y": frame.y0,
        "data_way": -1.0 if frame.up else 1.0, "data_top": pen.top,
    }  # fmt: skip
