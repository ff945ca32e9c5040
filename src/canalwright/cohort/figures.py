"""Drawings of a study: how a number spreads over teeth, shares beside their aim, and what each step gains. SVG, told in words too."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from canalwright.cohort.answers import Estimate
from canalwright.report.axes import Axes
from canalwright.report.curves import DASHES, LEFT, RIGHT, ROW, TOP, WIDTH, cut, document
from canalwright.report.options import Options
from canalwright.report.palette import Paint
from canalwright.report.svg import el, number, path

Array = NDArray[np.float64]
TALL, NAMES, MOST_POINTS = 62.0, 78.0, 400
_OPTIONS = Options(font_size=3.2)


def spread_svg(
    title: str, lines: Sequence[tuple[str, Array]], unit: str, mark: tuple[float, str] | None, prefix: str
) -> str:
    """Share of teeth [%] whose value is at most x, one line a name; `mark` is a limit with its words. Raises ValueError without a line."""
    if not lines:
        raise ValueError("nothing to draw: give at least one line")
    options = replace(_OPTIONS, prefix=prefix)
    every = np.concatenate([values for _, values in lines])
    ends = [float(every.min()), float(np.quantile(every, 0.998)), *([mark[0]] if mark else [])]
    low, high = min(ends), max(ends)
    room = max(high - low, 0.1) * 0.04
    axes = Axes(
        LEFT,
        TOP,
        WIDTH - LEFT - RIGHT,
        TALL,
        (max(low - room, 0.0 if low >= 0 else low - room), high + room),
        (0.0, 100.0),
        options,
    )
    drawn = [axes.y_axis("% of teeth at most", grid=True), axes.x_axis(unit)]
    notes = []
    for i, (name, values) in enumerate(lines):
        drawn.append(
            el(
                "path",
                d=path(_steps(axes, values)),
                fill="none",
                stroke=_paint(axes, i).edge,
                stroke_width=0.55,
                stroke_dasharray=DASHES[i % 3],
            )
        )
        five, half, most = (float(np.quantile(values, q)) for q in (0.05, 0.5, 0.95))
        notes.append(
            f"{name}: median {half:.1f}, 5 to 95 % of teeth {five:.1f} to {most:.1f} {unit}; {len(values)} teeth."
        )
    if mark:
        x, p = axes.x(mark[0]), options.palette
        drawn.append(
            el(
                "path",
                d=f"M{number(x)} {number(TOP)}v{number(TALL)}",
                stroke=p.ink,
                stroke_width=0.35,
                stroke_dasharray="1.4 1",
            )
        )
        left = x > LEFT + 0.7 * (WIDTH - LEFT - RIGHT)
        drawn.append(
            axes.write(mark[1], x - 1.2 if left else x + 1.2, TOP + 3.0, anchor="end" if left else "start", muted=True)
        )
    below = TOP + TALL + 13.0
    drawn += [_sample(axes, i, name, below + ROW * i) for i, (name, _) in enumerate(lines)]
    return document(options, title, notes, drawn, below + ROW * len(lines) - 2.0)


def shares_svg(
    title: str, rows: Sequence[tuple[str, Estimate]], aim: float, axis: str, prefix: str, *, low: float | None = None
) -> str:
    """Shares [%] with their 95 % intervals as bars beside the aim, one row a name."""
    options = replace(_OPTIONS, prefix=prefix)
    least = min([e.low for _, e in rows] + [aim])
    start = low if low is not None else (0.0 if least < 0.6 else float(np.floor(100 * (least - 0.02)) / 100))
    height = ROW * (len(rows) + 0.5)
    axes = Axes(NAMES, TOP, WIDTH - NAMES - RIGHT, height, (100 * start, 100.0), (0.0, 1.0), options)
    drawn, notes, p = [axes.x_axis(axis)], [], options.palette
    x = axes.x(100 * aim)
    drawn.append(
        el(
            "path",
            d=f"M{number(x)} {number(TOP)}v{number(height)}",
            stroke=p.ink,
            stroke_width=0.35,
            stroke_dasharray="1.4 1",
        )
    )
    drawn.append(axes.write(f"aim {100 * aim:g} %", x, TOP - 2.2, anchor="end", muted=True))
    for i, (name, e) in enumerate(rows):
        y = TOP + ROW * (i + 0.6)
        drawn.append(axes.write(cut(name, NAMES - 3, options), NAMES - 2, y, anchor="end"))
        ends = f"M{number(axes.x(100 * e.low))} {number(y)}H{number(axes.x(100 * e.high))}"
        drawn.append(el("path", d=ends, stroke=p.ink, stroke_width=0.35))
        drawn.append(el("circle", cx=axes.x(100 * e.value), cy=y, r=0.95, fill=p.plugger.edge))
        notes.append(f"{name}: {percent(e)}; at least {100 * aim:g} %: {e.verdict(aim)}.")
    return document(options, title, notes, drawn, TOP + height + 10.0)


def gains_svg(title: str, rows: Sequence[tuple[str, Estimate]], unit: str, worth: float | None, prefix: str) -> str:
    """Mean differences with their 95 % intervals about zero; `worth` marks what a gain is worth having at."""
    options = replace(_OPTIONS, prefix=prefix)
    ends = [e.low for _, e in rows] + [e.high for _, e in rows] + [0.0] + ([worth] if worth is not None else [])
    low, high = min(ends), max(ends)
    room, height = max(high - low, 0.05) * 0.06, ROW * (len(rows) + 0.5)
    axes = Axes(NAMES, TOP, WIDTH - NAMES - RIGHT, height, (low - room, high + room), (0.0, 1.0), options)
    drawn, notes, p = [axes.x_axis(unit)], [], options.palette
    for at, words in ((0.0, ""), *(((worth, f"worth it from {worth:g}"),) if worth is not None else ())):
        x = axes.x(at)
        drawn.append(
            el(
                "path",
                d=f"M{number(x)} {number(TOP)}v{number(height)}",
                stroke=p.ink,
                stroke_width=0.3,
                stroke_dasharray="1.4 1" if words else None,
            )
        )
        if words:
            drawn.append(axes.write(words, x, TOP - 2.2, anchor="end", muted=True))
    for i, (name, e) in enumerate(rows):
        y = TOP + ROW * (i + 0.6)
        drawn.append(axes.write(cut(name, NAMES - 3, options), NAMES - 2, y, anchor="end"))
        drawn.append(
            el(
                "path",
                d=f"M{number(axes.x(e.low))} {number(y)}H{number(axes.x(e.high))}",
                stroke=p.ink,
                stroke_width=0.35,
            )
        )
        drawn.append(el("circle", cx=axes.x(e.value), cy=y, r=0.95, fill=p.plugger.edge))
        notes.append(f"{name}: {signed(e)} {unit}.")
    return document(options, title, notes, drawn, TOP + height + 10.0)


def percent(e: Estimate) -> str:
    """A share with its interval: `98.7 % (97.9 to 99.2)`."""
    digits = 2 if min(e.value, 1 - e.value) < 0.02 else 1
    return f"{100 * e.value:.{digits}f} % ({100 * e.low:.{digits}f} to {100 * e.high:.{digits}f})"


def signed(e: Estimate, digits: int = 2) -> str:
    """A difference with its interval and sign."""
    return f"{e.value:+.{digits}f} ({e.low:+.{digits}f} to {e.high:+.{digits}f})"


def _steps(axes: Axes, values: Array) -> Array:
    """The distribution function as points on paper, no more of them than can be seen."""
    x = np.sort(values)
    share = np.arange(1, len(x) + 1) / len(x)
    kept = np.unique(np.linspace(0, len(x) - 1, min(len(x), MOST_POINTS)).astype(int))
    high = axes.x_range[1]
    points = [(axes.x(float(x[0])), axes.y(0.0))]
    for i in kept:
        at = axes.x(min(float(x[i]), high))
        points += [(at, points[-1][1]), (at, axes.y(100 * float(share[i])))]
    return np.array(points)


def _sample(axes: Axes, i: int, name: str, y: float) -> str:
    line = el(
        "path",
        d=f"M{number(3.0)} {number(y)}h9",
        stroke=_paint(axes, i).edge,
        stroke_width=0.6,
        stroke_dasharray=DASHES[i % 3],
    )
    return line + axes.write(cut(name, WIDTH - 20, axes.options), 14.0, y)


def _paint(axes: Axes, i: int) -> Paint:
    p = axes.options.palette
    return (p.plugger, p.carrier, p.front, p.backfill, p.cone)[i % 5]
