"""Outcomes drawn: curves over time with their intervals beside published figures, and process charts.

A curve is drawn only up to where fewer than 5 are at risk, and not at all of fewer than 20 cases; what is refused has its
reason in the picture's place (`refused_svg`). Everything that is drawn is also told in words (`title`, `desc`).
Intervals here are 95 %, as in the papers that they stand beside.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from canalwright.anatomy.lumen import Array
from canalwright.records.outcomes import Chart, Curve, Published
from canalwright.report.axes import Axes
from canalwright.report.options import SMALL, Options
from canalwright.report.palette import Paint
from canalwright.report.svg import el, number, path, tag

WIDTH, TALL, LEFT, RIGHT, TOP = 170.0, 62.0, 14.0, 6.0, 9.0
ROW = 6.4
YEAR = 12.0  # months
DASHES = (None, "2.4 1.2", "0.8 1")


@dataclass(frozen=True)
class Line:
    """A curve with its name and what it starts from: 1 for survival, 0 for incidence."""

    name: str
    curve: Curve
    start: float


def curves_svg(
    title: str, lines: Sequence[Line], published: Sequence[Published] = (), *, options: Options | None = None
) -> str:
    """Step curves with their interval bands [% over years], the number at risk below, published figures as marks.

    A published figure stands at the months named in its outcome (`... at 4 years`); others do not belong on a time axis.
    Raises ValueError without a line.
    """
    if not lines:
        raise ValueError("nothing to draw: give at least one curve")
    options = options or Options(prefix="curves")
    points = [(months, p) for p in published if (months := _months(p)) is not None]
    end = max([line.curve.until for line in lines] + [m for m, _ in points] + [12.0])
    low = min(float(min(_shown(line)[3])) for line in lines)
    high = 1.0 if any(line.start for line in lines) else max(0.1, *(float(max(_shown(x)[2])) for x in lines))
    bottom = 0.0 if low < 0.5 else 50.0
    axes = Axes(
        LEFT, TOP, WIDTH - LEFT - RIGHT, TALL, (0.0, end / YEAR * 1.02), (bottom, min(100.0, 105 * high)), options
    )
    drawn = [axes.y_axis("% of teeth", grid=True), axes.x_axis("years after the filling")]
    for i, line in enumerate(lines):
        drawn.append(_curve(axes, line, i))
    drawn += [_mark(axes, months, p) for months, p in points]
    below = TOP + TALL + 13.0
    drawn.append(_at_risk(axes, lines, below))
    notes = [*(_told(line) for line in lines), *(cited(p) for _, p in points)]
    notes += sorted({line.curve.note for line in lines if line.curve.note})
    notes.append("Bands: 95 % intervals. Drawn while at least 5 are at risk.")
    return document(options, title, notes, drawn, below + ROW * len(lines) + 2.0)


def chart_svg(found: Chart, title: str, *, options: Options | None = None) -> str:
    """A process chart, case after case: centre and limits of the first cases, signals marked by shape and word."""
    options = options or Options(prefix="chart")
    p, values = options.palette, [x.value for x in found.points]
    low, high = min(*values, found.low), max(*values, found.high)
    flat = high - low <= 1e-9 * max(abs(low), abs(high))  # all the same, but for rounding
    room = 0.1 * abs(high) or 1.0 if flat else 0.08 * (high - low) or 1.0
    axes = Axes(
        LEFT, TOP, WIDTH - LEFT - RIGHT - 14, TALL, (0.0, len(values) + 0.5), (low - room, high + room), options
    )
    right = axes.left + axes.width
    drawn = [axes.y_axis(title), axes.x_axis("case, in the order of filling")]
    lines = (("centre", found.centre, None), ("limit", found.low, "2 1"), ("limit", found.high, "2 1"))
    for name, level, dash in lines[:1] if flat else lines:
        y = axes.y(level)
        line = f"M{number(axes.left)} {number(y)}H{number(right)}"
        drawn.append(el("path", d=line, stroke=p.muted, stroke_width=0.3, stroke_dasharray=dash))
        drawn.append(axes.write(name, right + 1.5, y, muted=True))
    places = [(axes.x(i), axes.y(v)) for i, v in enumerate(values, 1)]
    drawn.append(el("path", d=path(places), fill="none", stroke=p.plugger.edge, stroke_width=0.3))
    before = ""
    for (x, y), point in zip(places, found.points, strict=True):
        drawn.append(_point(axes, x, y, point.signal))
        if point.signal and point.signal != before:
            drawn.append(axes.write(point.signal, x, y - 3.2, anchor="middle", bold=True))
        before = point.signal
    signals = sum(bool(x.signal) for x in found.points)
    notes = [
        f"{len(values)} cases, centre {_figure(found.centre)}, limits {_figure(found.low)} to {_figure(found.high)} from the first "
        f"{found.based_on}; {signals} signals.",
        f"Change per 10 cases {_figure(found.slope)} ({_figure(found.slope_low)} to {_figure(found.slope_high)}, 95 %).",
        "Diamond, beyond: outside a limit. Square, run: 8 in a row on one side. A signal says look, not why.",
    ]
    return document(options, title, notes, drawn, TOP + TALL + 10.0)


def refused_svg(title: str, reason: str, *, options: Options | None = None) -> str:
    """The picture's place with the reason why there is none."""
    options = options or Options(prefix="refused")
    p = options.palette
    axes = Axes(LEFT, TOP, WIDTH - LEFT - RIGHT, 18.0, (0, 1), (0, 1), options)
    frame = el(
        "rect", x=2.0, y=TOP, width=WIDTH - 4.0, height=18.0, fill="none", stroke=p.hairline, stroke_dasharray="2 1.4"
    )  # fmt: skip
    told = f"{options.say('Not drawn')}: {options.say(reason)}"
    words = axes.write(cut(told, WIDTH - 14, options), WIDTH / 2, TOP + 9.0, anchor="middle")
    return document(options, title, [told], [frame, words], TOP + 20.0, told=False)


def _curve(axes: Axes, line: Line, i: int) -> str:
    """The band first, the line over it; the second line is dashed, so that none rests on colour alone."""
    paint = _paint(axes, i)
    times, value, high, low = _shown(line)
    over = np.column_stack([_x(axes, times), [axes.y(100 * v) for v in np.repeat(high, 2)[:-1]]])
    under = np.column_stack([_x(axes, times), [axes.y(100 * v) for v in np.repeat(low, 2)[:-1]]])
    middle = np.column_stack([_x(axes, times), [axes.y(100 * v) for v in np.repeat(value, 2)[:-1]]])
    return el(
        "g",
        el("path", d=path(np.vstack([over, under[::-1]]), closed=True), fill=paint.fill, fill_opacity=0.45),
        el("path", d=path(middle), fill="none", stroke=paint.edge, stroke_width=0.6, stroke_dasharray=DASHES[i % 3]),
        class_="cw-curve",
    )


def _shown(line: Line) -> tuple[Array, Array, Array, Array]:
    """Times from 0 to `until`, and value, upper and lower end from each time on."""
    curve = line.curve
    kept = sum(t <= curve.until for t in curve.times)
    times = np.array([0.0, *curve.times[:kept], curve.until])
    steps = (np.array([line.start, *s[:kept]]) for s in (curve.value, curve.high, curve.low))
    value, high, low = (np.append(s, s[-1]) for s in steps)
    return times, value, high, low


def _x(axes: Axes, times: Array) -> list[float]:
    """Paper x of a step line: each time twice, but for the first."""
    return [axes.x(float(t) / YEAR) for t in np.repeat(times, 2)[1:]]


def _at_risk(axes: Axes, lines: Sequence[Line], y: float) -> str:
    """Below the axis, for each line: how it is drawn, its name, and how many were still at risk when an event fell."""
    drawn = []
    for i, line in enumerate(lines):
        row = y + ROW * i
        stroke, dash = _paint(axes, i).edge, DASHES[i % 3]
        sample = f"M{number(2.0)} {number(row)}h8"
        drawn.append(el("path", d=sample, stroke=stroke, stroke_width=0.6, stroke_dasharray=dash))
        name = axes.options.say(f"{line.name}, at risk")
        drawn.append(axes.write(name, 11.5, row))
        edge = 13.5 + axes.options.width(name, small=True)
        for t, n in zip(line.curve.times, line.curve.at_risk, strict=True):
            x = axes.x(t / YEAR)
            wide = axes.options.width(f"{n}", small=True)
            if t <= line.curve.until and x - wide / 2 > edge:
                drawn.append(axes.write(f"{n}", x, row, anchor="middle"))
                edge = x + wide / 2 + 5.0
    return el("g", *drawn)


def _paint(axes: Axes, i: int) -> Paint:
    p = axes.options.palette
    return (p.plugger, p.carrier, p.front)[i % 3]


def _mark(axes: Axes, months: float, p: Published) -> str:
    ink = axes.options.palette.ink
    x, y = axes.x(months / YEAR), axes.y(100 * p.value)
    drawn = [
        el(
            "path",
            d=f"M{number(x)} {number(y - 1.5)}l1.5 1.5l-1.5 1.5l-1.5 -1.5Z",
            fill="none",
            stroke=ink,
            stroke_width=0.4,
        )
    ]
    if p.low is not None and p.high is not None:
        ends = f"M{number(x)} {number(axes.y(100 * p.low))}V{number(axes.y(100 * p.high))}"
        drawn.insert(0, el("path", d=ends, stroke=ink, stroke_width=0.35))
    drawn.append(axes.write("published", x - 2.2, y + 4.4, anchor="end"))
    return el("g", *drawn, class_="cw-published")


def _point(axes: Axes, x: float, y: float, signal: str) -> str:
    p = axes.options.palette
    if signal == "beyond":
        diamond = f"M{number(x)} {number(y - 1.5)}l1.5 1.5l-1.5 1.5l-1.5 -1.5Z"
        return el("path", d=diamond, fill=p.carrier.edge)
    if signal:
        return el("rect", x=x - 1, y=y - 1, width=2, height=2, fill=p.front.edge)
    return el("circle", cx=x, cy=y, r=0.8, fill=p.plugger.edge)


def _told(line: Line) -> str:
    c = line.curve
    about = f"{c.cases} cases, {sum(c.events)} events"
    if not any(c.events):
        return f"{line.name}: {about}. Without an event there is no interval: the true share may well be another."
    last, kept = c.at(c.until, line.start), sum(t <= c.until for t in c.times)
    spread = f" ({100 * c.low[kept - 1]:.0f}–{100 * c.high[kept - 1]:.0f})" if kept else ""
    return f"{line.name}: {100 * last:.0f} %{spread} at {c.until / YEAR:.1f} years; {about}."


def cited(p: Published) -> str:
    """A published figure in words, with its source and how it was seen."""
    spread = f" ({100 * p.low:.0f}–{100 * p.high:.0f})" if p.low is not None and p.high is not None else ""
    return f"published, {p.outcome}, {p.criteria}: {100 * p.value:.0f} %{spread}; {p.group}; {p.source}; {p.seen}."


def _months(p: Published) -> float | None:
    """Months after the filling of a figure that names its time, as in `tooth survival at 4 years, ...`."""
    _, found, rest = p.outcome.partition(" at ")
    years = rest.split(" ")[0]
    return 12.0 * float(years) if found and years.isdigit() and "year" in rest else None


def cut(content: str, room: float, options: Options) -> str:
    """A text shortened to a width [paper mm]."""
    while content and options.width(content, small=True) > room:
        content = content[:-2].rstrip() + "…"
    return content


def document(
    options: Options, title: str, notes: Sequence[str], drawn: Sequence[str], height: float, *, told: bool = True
) -> str:
    """The whole drawing; the notes are its description, and its last lines."""
    size = options.font_size * SMALL
    title, notes = options.say(title), [options.say(note) for note in notes]
    axes = Axes(LEFT, TOP, WIDTH, height, (0, 1), (0, 1), options)
    lines = [part for note in notes for part in _wrapped(note, WIDTH - 6.0, options)] if told else []
    written = [axes.write(text, 3.0, height + 3.0 + i * size * 1.45, muted=True) for i, text in enumerate(lines)]
    tall = height + (len(lines) * size * 1.45 + 4.0)
    head, about = f"{options.prefix}-title", f"{options.prefix}-about"
    ground = el("rect", width=WIDTH, height=tall, fill=options.palette.paper) if options.background else ""
    return el(
        "svg",
        tag("title", title, id=head),
        tag("desc", " ".join(notes), id=about),
        ground,
        *drawn,
        *written,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(WIDTH)} {number(tall)}",
        width=f"{number(WIDTH)}mm",
        height=f"{number(tall)}mm",
        role="img",
        aria_labelledby=f"{head} {about}",
        font_family=options.font,
        class_="cw-outcomes",
    )


def _figure(value: float) -> str:
    """Four figures, never an exponent for what is a number of everyday size."""
    return (f"{value:.4g}" if abs(value) < 10_000 else f"{value:.0f}").replace("-", "−")


def _wrapped(content: str, room: float, options: Options) -> list[str]:
    lines, line = [], ""
    for word in content.split():
        longer = f"{line} {word}".strip()
        if options.width(longer, small=True) > room and line:
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line] if line else lines
