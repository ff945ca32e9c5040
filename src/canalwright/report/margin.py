"""The label columns beside the section, their leader lines, and the bars that show each interval to scale."""

from dataclasses import dataclass, replace

from canalwright.report.labels import spread
from canalwright.report.marks import Kind, Mark
from canalwright.report.options import Options, Pen
from canalwright.report.palette import Paint, Palette
from canalwright.report.svg import el, number, path

ICON, GAP = 4.4, 1.2
LANES: dict[Kind, int] = {"plugger": 0, "carrier": 1, "front": 2, "backfill": 3}
LANE = 1.5


@dataclass(frozen=True)
class Label:
    """A label with its wanted and final middle [paper mm] and the place it points at."""

    mark: Mark
    anchor: tuple[float, float]
    left: bool
    y: float = 0.0


def interval(mark: Mark, options: Options) -> str:
    """The interval as printed beside the number; empty when it is not asked for or has no width."""
    q = mark.depth
    shown = (options.interval_text or options.projected) and q.high > q.low
    return f"{q.low:.1f}–{q.high:.1f}" if shown else ""


def label_width(mark: Mark, options: Options, room: float) -> float:
    """Upper bound of the width of a label, icon and interval column of width `room` included [paper mm]."""
    return ICON + number_width(options) + room + options.width(mark.words)


def number_width(options: Options) -> float:
    """Width of the column of numbers."""
    return options.width("00.0", bold=True) + GAP


def interval_width(marks: list[Mark], options: Options) -> float:
    """Width of the column of intervals; 0 when none is printed."""
    printed = [interval(m, options) for m in marks]
    return max((options.width(t, small=True) + GAP for t in printed if t), default=0.0)


def column(labels: list[Label], height: float, low: float, high: float) -> list[Label]:
    """Labels in order down the page, moved apart just enough; the caller leaves room from `low` to `high`."""
    ordered = sorted(labels, key=lambda item: (item.anchor[1], item.mark.key))
    places = spread([item.anchor[1] for item in ordered], [height] * len(ordered), low, high)
    return [replace(item, y=float(y)) for item, y in zip(ordered, places, strict=True)]


def box(label: Label, x: float, options: Options, room: float) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of a label whose inner edge is at `x` [paper mm]."""
    wide = label_width(label.mark, options, room)
    tall = options.font_size * 0.6
    return (x - wide if label.left else x), label.y - tall, (x if label.left else x + wide), label.y + tall


def draw_label(pen: Pen, label: Label, x: float, elbow: float, room: float) -> str:
    """A label at `x` (its inner edge), a leader from its anchor bent at `elbow`; `room` is the interval column."""
    options, p, mark = pen.options, pen.palette, label.mark
    way, anchor = (-1.0, "end") if label.left else (1.0, "start")
    ax, ay = label.anchor
    stop = x + way * (ICON - 0.7 if mark.kind == "landmark" else -0.7)
    line = f"M{number(ax)} {number(ay)}H{number(elbow)}L{number(x - way * 2.2)} {number(label.y)}H{number(stop)}"
    parts = [el("path", d=line, fill="none", stroke=p.muted, stroke_width=0.13, class_="cw-leader")]
    if mark.kind != "landmark":
        parts.append(draw_icon(p, mark.kind, x + way * (ICON - 1.2) / 2, label.y))
    at = x + way * ICON
    parts.append(pen.write(f"{mark.depth.value:.1f}", at, label.y, anchor=anchor, bold=True))
    at += way * number_width(options)
    if printed := interval(mark, options):
        parts.append(pen.write(printed, at, label.y, anchor=anchor, small=True, fill=p.muted))
    at += way * (room if printed or not label.left else 0.0)
    parts.append(pen.write(mark.words, at, label.y, anchor=anchor, fill=p.muted))
    return el("g", *parts, class_=f"cw-label cw-{mark.kind}-label", data_key=mark.key)


def draw_bar(pen: Pen, mark: Mark, x: float) -> str:
    """The 5-95 % interval of a depth, to scale, with a dot at the value."""
    q, paint = mark.depth, paint_of(pen.palette, mark.kind)
    if q.high - q.low < 1e-9:
        return ""
    low, high, value = pen.y(max(q.low, pen.top)), pen.y(q.high), pen.y(q.value)
    caps = "".join(f"M{number(x - 0.45)} {number(end)}h0.9" for end in (low, high))
    return el(
        "g",
        el("path", d=f"M{number(x)} {number(low)}V{number(high)}{caps}", stroke=paint.edge, stroke_width=0.25),
        el("circle", cx=x, cy=value, r=0.45, fill=paint.edge),
        class_="cw-interval", data_key=mark.key, data_low_mm=number(q.low), data_high_mm=number(q.high),
    )  # fmt: skip


ICONS: dict[Kind, tuple[tuple[float, float], ...]] = {
    "plugger": ((-0.9, -1.0), (-0.9, 0.9), (0.9, 0.9), (0.9, -1.0)),
    "carrier": ((-0.8, -0.9), (0.8, -0.9), (0.0, 1.0)),
    "front": ((-1.5, 0.4), (-0.75, -0.4), (0.0, 0.4), (0.75, -0.4), (1.5, 0.4)),
    "cone": ((-0.9, -1.0), (0.9, -1.0), (0.35, 1.0), (-0.35, 1.0)),
    "portal": ((1.1, -0.6), (-1.1, 0.4)),
    "landmark": ((-1.1, 0.0), (1.1, 0.0)),
    "backfill": ((-1.1, -0.9), (1.1, -0.9), (1.1, 0.9), (-1.1, 0.9)),
    "post": ((-1.1, -0.9), (1.1, -0.9), (1.1, 0.9), (-1.1, 0.9)),
}
HATCHES: dict[Kind, tuple[tuple[float, float, float, float], ...]] = {
    "backfill": ((-1.1, 0.2, 0.0, -0.9), (-1.1, 0.9, 1.1, -0.9), (0.1, 0.9, 1.1, 0.0)),
    "post": ((-0.4, -0.9, -0.4, 0.9), (0.4, -0.9, 0.4, 0.9)),
}


def draw_icon(p: Palette, kind: Kind, x: float, y: float) -> str:
    """The small sign of a kind, the same in drawings and tables, 3 mm wide at most."""
    paint, closed = paint_of(p, kind), kind in ("carrier", "cone", "backfill", "post")
    filled = closed or kind == "plugger"
    sign = el(
        "path", d=path([(x + dx, y + dy) for dx, dy in ICONS[kind]], closed=closed), stroke=paint.edge,
        stroke_width=0.2 if closed else 0.4, stroke_linejoin="round",
        fill=(paint.edge if kind == "carrier" else paint.fill) if filled else "none",
    )  # fmt: skip
    lines = "".join(path([(x + a, y + b), (x + c, y + d)]) for a, b, c, d in HATCHES.get(kind, ()))
    return sign + (el("path", d=lines, stroke=paint.edge, stroke_width=0.15) if lines else "")


def paint_of(p: Palette, kind: Kind) -> Paint:
    """Colours of a kind of mark."""
    paint: Paint = getattr(p, kind)
    return paint
