"""Pictures of a simulation: temperatures on the axis and the root surface over time, and the greatest rise by level.

One run with the values as read is drawn; the intervals of what follows from it stand on the card.
"""

import base64
import io
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image
from skimage.measure import find_contours

from canalwright.anatomy.lumen import Array
from canalwright.planning.product import Plan
from canalwright.protocol import Act, Heat, Inject, Press
from canalwright.quantities import Quantity
from canalwright.report.axes import Axes
from canalwright.report.margin import draw_icon
from canalwright.report.marks import Kind
from canalwright.report.moment import heat_of
from canalwright.report.options import Options
from canalwright.report.palette import warmth
from canalwright.report.svg import el, number, path, tag
from canalwright.report.warmth import AXIS, SURFACE, Scale
from canalwright.report.words import figure, interval

if TYPE_CHECKING:
    from canalwright.heat import HeatStory
    from canalwright.planning.story import Story

WIDTH, PANEL, LEFT, RIGHT = 180.0, 58.0, 14.0, 8.0
LIMIT, DANGER = 10.0, 47.0


def heat_svg(plan: Plan, story: "Story | HeatStory", *, options: Options | None = None) -> str:
    """Temperature over time (across) and depth (down): on the axis, with the instruments, and on the root surface."""
    options, story = options or Options(), heat_of(story)
    length = plan.canal.length.value
    depth = (length - min(float(story.z[-1]), float(plan.lumen.z[-1]) + 1.0), length)
    tops = (20.0, 20.0 + PANEL + 20.0)
    panels = [
        Axes(
            LEFT,
            top,
            WIDTH - LEFT - RIGHT,
            PANEL,
            (0.0, float(story.time[-1])),
            depth,
            options,
            not plan.canal.tooth.upper,
        )
        for top in tops
    ]
    drawn = []
    for axes, scale, values, title in (
        (panels[0], AXIS, story.axis, "on the axis of the canal"),
        (panels[1], SURFACE, story.surface, "on the root surface"),
    ):
        drawn.append(_map(axes, scale, story, values, length))
        drawn.append(_lines(axes, story, length) if scale is AXIS else "")
        drawn.append(_contours(axes, scale, story, values, length))
        drawn.append(axes.y_axis(f"depth, mm: temperature in °C {title}"))
        drawn.append(axes.x_axis("s"))
    drawn.append(_acts(panels[0], story))
    drawn.append(_fronts(panels[0], plan, story, length))
    height = tops[1] + PANEL + 18.0
    drawn.append(_legend(panels[1], tops[1] + PANEL + 13.0))
    title = f"Temperatures over time, tooth {plan.canal.tooth.code}, {plan.canal.name} canal"
    about = "Above: on the axis, with carrier, plugger, top of the filling and melt front. Below: on the root surface."
    return _document(options, title, about, (WIDTH, height), drawn, "downpack")


def rise_svg(
    plan: Plan,
    story: "Story | HeatStory",
    *,
    width: float = WIDTH,
    height: float = 80.0,
    options: Options | None = None,
) -> str:
    """The greatest rise at the root surface by depth, beside the limit of 10 K, with the interval of its peak.

    `width` and `height` mm; a narrow one (below 80 mm) has short titles and leaves the peak's number to the card.
    """
    options, story, narrow = options or Options(), heat_of(story), width < 80
    length, p, q = plan.canal.length.value, options.palette, plan.heat.surface_rise
    shown = (story.z <= plan.lumen.z[-1]) & (story.z >= 0)
    depth, rise = length - story.z[shown], story.peak_rise[shown]
    most = max(LIMIT * 1.15, float(rise.max()) * 1.1, q.high * 1.05 if np.isfinite(q.high) else 0.0)
    left, right = (6.5, width - 1.0) if narrow else (LEFT, width - RIGHT)
    axes = Axes(left, 7.0, right - left, height - 17.0, (float(depth.min()), float(depth.max())), (0.0, most), options)
    points = np.array([(axes.x(d), axes.y(r)) for d, r in zip(depth, rise, strict=True)])
    area = np.vstack([points, [(axes.x(depth[-1]), axes.y(0.0)), (axes.x(depth[0]), axes.y(0.0))]])
    limit = axes.y(LIMIT)
    drawn = [
        axes.y_axis("rise outside, K" if narrow else "greatest rise on the root surface, K", grid=True),
        axes.x_axis("depth, mm" if narrow else f"depth from the {plan.canal.reference}, mm"),
        el("path", d=path(area, closed=True), fill=p.carrier.fill, fill_opacity=0.35),
        el("path", d=path(points), fill="none", stroke=p.carrier.edge, stroke_width=0.5),
        el("path", d=path([(left, limit), (right, limit)]), stroke=p.ink, stroke_width=0.4, stroke_dasharray="2 1"),
        "" if narrow else axes.write("limit 10 K", right, limit - 2.4, anchor="end", bold=True),
        _peak(axes, q, axes.x(float(depth[int(np.argmax(rise))])), most, written=not narrow),
    ]
    title = f"Greatest rise on the root surface, tooth {plan.canal.tooth.code}, {plan.canal.name} canal"
    about = f"Peak {figure(q.value)} K, 5-95 % interval {interval(q)} K, limit 10 K."
    return _document(options, title, about, (width, height), drawn, "rise")


def _peak(axes: Axes, q: Quantity, x: float, most: float, *, written: bool) -> str:
    """The greatest rise with its interval as a bar at `x`."""
    ink = axes.options.palette.ink
    low, high = axes.y(max(q.low, 0.0)), axes.y(min(q.high, most))
    bar = path([(x, low), (x, high)]) + "".join(path([(x - 0.8, end), (x + 0.8, end)]) for end in (low, high))
    way, anchor = (-2.5, "end") if x > axes.left + axes.width * 0.7 else (2.5, "start")
    number_text = f"{figure(q.value)} K ({interval(q)})"
    return el(
        "g",
        el("path", d=bar, stroke=ink, stroke_width=0.3),
        el("circle", cx=x, cy=axes.y(min(q.value, most)), r=0.8, fill=ink),
        axes.write(number_text, x + way, (low + high) / 2, anchor=anchor, bold=True) if written else "",
        class_="cw-interval",
    )


def _map(axes: Axes, scale: Scale, story: "HeatStory", values: Array, length: float) -> str:
    """The temperatures as an image, 2 pixels per mm."""
    wide, tall = int(2 * axes.width), int(2 * axes.height)
    grid = _resampled(axes, story, values, length, wide, tall)
    table = np.array([[int(warmth(i / 255)[k : k + 2], 16) for k in (1, 3, 5)] for i in range(256)], dtype=np.uint8)
    pixels = table[np.round(255 * scale.fraction(grid)).astype(int)]
    data = io.BytesIO()
    Image.fromarray(pixels if axes.flip else pixels[::-1]).save(data, format="PNG", optimize=True)
    return el(
        "image", x=axes.left, y=axes.top, width=axes.width, height=axes.height, preserveAspectRatio="none",
        href="data:image/png;base64," + base64.b64encode(data.getvalue()).decode(),
    )  # fmt: skip


def _resampled(axes: Axes, story: "HeatStory", values: Array, length: float, wide: int, tall: int) -> Array:
    """Temperatures on an even grid, shape (tall, wide): rows by growing depth, columns by time."""
    times = np.linspace(*axes.x_range, wide)
    z = length - np.linspace(*axes.y_range, tall)
    by_time = np.array([np.interp(times, story.time, values[:, k]) for k in range(values.shape[1])])
    return np.array([np.interp(z, story.z, by_time[:, j]) for j in range(wide)]).T


def _contours(axes: Axes, scale: Scale, story: "HeatStory", values: Array, length: float) -> str:
    """Isotherms with their numbers where there is room, so that the picture does not rest on colour."""
    wide, tall = int(2 * axes.width), int(axes.height)
    grid = _resampled(axes, story, values, length, wide, tall)
    # The melt fronts' numbers come first (see `_fronts`).
    taken = [(axes.x((a.start + a.end) / 2), axes.y(length - a.front)) for a in story.acts if isinstance(a.act, Heat)]
    drawn, written = [], []
    for level in sorted(scale.isotherms, reverse=True):
        spots = []
        for line in find_contours(grid, level):  # type: ignore[no-untyped-call]
            x = axes.left + line[:, 1] / (wide - 1) * axes.width
            down = line[:, 0] / (tall - 1) * axes.height
            y = axes.top + (down if axes.flip else axes.height - down)
            if np.ptp(x) + np.ptp(y) >= 3.0:
                stroke = 0.4 if level == DANGER else 0.18
                lines = path(np.column_stack([x, y]))
                drawn.append(el("path", d=lines, fill="none", stroke="#ffffff", stroke_width=stroke))
                middle = int(np.argmax(line[:, 0]))
                spots.append((float(np.ptp(x)), float(x[middle]), float(y[middle])))
        for _, x_at, y_at in sorted(spots, reverse=True):
            clear = all(abs(x_at - a) > 7 or abs(y_at - b) > 3.6 for a, b in taken)
            inside = abs(x_at - axes.left - axes.width / 2) < axes.width / 2 - 4
            if clear and inside and abs(y_at - axes.top - axes.height / 2) < axes.height / 2 - 2:
                taken.append((x_at, y_at))
                ground = axes.options.palette.paper
                written.append(el("rect", x=x_at - 2.4, y=y_at - 1.6, width=4.8, height=3.2, rx=0.8, fill=ground))
                written.append(axes.write(f"{level:.0f}", x_at, y_at, anchor="middle"))
                break
    return el("g", *drawn, *written, class_="cw-isotherms")


def _acts(axes: Axes, story: "HeatStory") -> str:
    """A band above the panel: when heat is on, when a plugger presses, when backfill goes in."""
    p, top = axes.options.palette, axes.top - 10.5
    drawn, rounds = [], 0
    for done in story.acts:
        kind = _kind(done.act)
        if kind is None:
            continue
        paint = getattr(p, kind)
        left, right = axes.x(done.start), axes.x(min(done.end, axes.x_range[1]))
        drawn.append(
            el(
                "rect",
                x=left,
                y=top,
                width=max(right - left, 0.5),
                height=3.0,
                fill=paint.fill,
                stroke=paint.edge,
                stroke_width=0.2,
            )
        )
        if kind == "carrier":
            rounds += 1
            drawn.append(axes.write(str(rounds), (left + right) / 2, top - 2.4, anchor="middle", bold=True))
        drawn.append(draw_icon(p, kind, (left + right) / 2, top + 1.5) if right - left > 3 else "")
    return el("g", *drawn, class_="cw-acts")


def _kind(act: Act) -> Kind | None:
    if isinstance(act, Heat):
        return "carrier"
    if isinstance(act, Press):
        return "plugger"
    return "backfill" if isinstance(act, Inject) else None


LINES: tuple[tuple[str, Kind, float, str | None], ...] = (
    ("top", "cone", 0.45, None),
    ("front", "front", 0.5, "1.4 0.8"),
    ("carrier_tip", "carrier", 0.6, None),
    ("plugger_tip", "plugger", 0.6, None),
)


def _lines(axes: Axes, story: "HeatStory", length: float) -> str:
    """Top of the filling, melt front and the instruments' tips, each on a white casing."""
    drawn = []
    for name, kind, width, dash in LINES:
        values = length - np.asarray(getattr(story, name))
        shown = np.isfinite(values) & (values >= axes.y_range[0])
        if name == "front":
            shown &= story.front < story.top - 0.05
        edges = np.flatnonzero(np.diff(np.concatenate([[0], shown.astype(int), [0]])))
        d = "".join(
            path([(axes.x(t), axes.y(v)) for t, v in zip(story.time[a:b], values[a:b], strict=True)])
            for a, b in zip(edges[::2], edges[1::2], strict=True)
            if b - a > 1
        )
        if d:
            drawn.append(el("path", d=d, fill="none", stroke="#ffffff", stroke_width=width + 0.5))
            drawn.append(
                el(
                    "path",
                    d=d,
                    fill="none",
                    stroke=getattr(axes.options.palette, kind).edge,
                    stroke_width=width,
                    stroke_dasharray=dash,
                )
            )
    return el("g", *drawn, class_="cw-lines")


def _fronts(axes: Axes, plan: Plan, story: "HeatStory", length: float) -> str:
    """The deepest melt front of each round, numbered."""
    heats = [a for a in story.acts if isinstance(a.act, Heat)]
    p = axes.options.palette
    drawn = []
    for i, done in enumerate(heats[: len(plan.rounds)], 1):
        x, y = axes.x((done.start + done.end) / 2), axes.y(length - done.front)
        drawn.append(el("circle", cx=x, cy=y, r=1.9, fill=p.paper, stroke=p.front.edge, stroke_width=0.4))
        drawn.append(axes.write(str(i), x, y, anchor="middle", bold=True))
    return el("g", *drawn, class_="cw-fronts")


def _legend(axes: Axes, y: float) -> str:
    p, x, drawn = axes.options.palette, LEFT, []
    names: tuple[tuple[Kind, str], ...] = (
        ("carrier", "carrier tip"), ("plugger", "plugger tip"), ("cone", "top of the filling"),
        ("front", "melt front, deepest of each round numbered"), ("backfill", "backfill"),
    )  # fmt: skip
    for kind, words in names:
        drawn += [draw_icon(p, kind, x + 1.5, y), axes.write(words, x + 4.2, y, muted=True)]
        x += 9.0 + axes.options.width(words, small=True) * 0.9
    return el("g", *drawn, class_="cw-legend")


def _document(options: Options, title: str, about: str, size: tuple[float, float], drawn: list[str], name: str) -> str:
    prefix, width, height = f"{options.prefix}-{name}", number(size[0]), number(size[1])
    return el(
        "svg",
        tag("title", title, id=f"{prefix}-title"),
        tag("desc", about, id=f"{prefix}-desc"),
        el("rect", width=width, height=height, fill=options.palette.paper) if options.background else "",
        *drawn,
        xmlns="http://www.w3.org/2000/svg", width=f"{width}mm", height=f"{height}mm", viewBox=f"0 0 {width} {height}",
        role="img", aria_labelledby=f"{prefix}-title {prefix}-desc", font_family=options.font, class_=f"cw-{name}",
    )  # fmt: skip
