"""The figure of a model's check: where each of our results lies within what its evidence row accepts, one line a row.

Every row on one scale: 0 is the published value (or the middle of the published range), -1 and 1 are the ends of what is accepted, the
range and its tolerance together. What lies outside is a miss, and drawn as one.
"""

from collections.abc import Sequence
from dataclasses import replace

from canalwright.report.axes import Axes
from canalwright.report.curves import ROW, TOP, WIDTH, cut, document
from canalwright.report.options import Options
from canalwright.report.svg import el, number
from tests.evidence.table import Check

NAMES, NUMBERS, FAR = 84.0, 40.0, 2.0
TALL = ROW * 0.72
_OPTIONS = Options(font_size=3.0)


def place(check: Check) -> float:
    """Where our value lies: 0 the middle of what is accepted, -1 and 1 its ends; infinite beside a value that has to be met exactly."""
    low, high = check.theirs if isinstance(check.theirs, tuple) else (check.theirs, check.theirs)
    half = (high - low) / 2 + check.tolerance
    off = check.value - (low + high) / 2
    if half == 0.0:
        return 0.0 if off == 0.0 else float("inf") * off
    return off / half


def figure(title: str, checks: Sequence[Check], prefix: str) -> str:
    """The drawing as SVG, of all rows in their order."""
    options = replace(_OPTIONS, prefix=prefix)
    p, height = options.palette, TALL * (len(checks) + 0.4)
    axes = Axes(NAMES, TOP, WIDTH - NAMES - NUMBERS, height, (-FAR, FAR), (0.0, 1.0), options)
    drawn = [
        el("rect", x=axes.x(-1), y=TOP, width=axes.x(1) - axes.x(-1), height=height, fill=p.dentine.fill),
        el("path", d=f"M{number(axes.x(0))} {number(TOP)}v{number(height)}", stroke=p.muted, stroke_width=0.25),
        axes.x_axis("accepted: -1 to 1"),
        axes.write("ours", WIDTH - NUMBERS + 3, TOP - 3.2, muted=True),
        axes.write("published", WIDTH - NUMBERS / 2 + 2, TOP - 3.2, muted=True),
    ]
    for i, check in enumerate(checks):
        y = TOP + TALL * (i + 0.7)
        drawn.append(axes.write(cut(check.name, NAMES - 3, options), NAMES - 2, y, anchor="end"))
        drawn.append(_mark(axes, check, y))
        drawn.append(axes.write(cut(_value(check), NUMBERS / 2 - 3, options), WIDTH - NUMBERS + 3, y))
        drawn.append(axes.write(cut(_theirs(check), NUMBERS / 2 - 3, options), WIDTH - NUMBERS / 2 + 2, y))
    misses = sum(bool(check.miss) for check in checks)
    set_by = sum(check.role == "calibration" for check in checks)
    notes = [
        f"{len(checks)} rows, {misses} missed. Dot: agrees. Diamond: missed; at the edge it lies farther off. "
        "The reason of each miss stands on the evidence page."
    ]
    if set_by:
        notes.append(f"Ring: {set_by} figures that set a parameter; they judge nothing.")
    return document(options, title, notes, drawn, TOP + height + 10.0)


def _mark(axes: Axes, check: Check, y: float) -> str:
    p, x = axes.options.palette, axes.x(max(-FAR, min(FAR, place(check))))
    if check.miss:
        return el("path", d=f"M{number(x - 1.5)} {number(y)}l1.5 -1.5l1.5 1.5l-1.5 1.5z", fill=p.carrier.edge)
    if check.role == "calibration":
        return el("circle", cx=x, cy=y, r=0.95, fill=p.paper, stroke=p.plugger.edge, stroke_width=0.4)
    return el("circle", cx=x, cy=y, r=1.05, fill=p.plugger.edge)


def _value(check: Check) -> str:
    return f"{check.value:.3g} {check.unit}".strip()


def _theirs(check: Check) -> str:
    if isinstance(check.theirs, tuple):
        return f"{check.theirs[0]:.3g} to {check.theirs[1]:.3g}"
    return f"{check.theirs:.3g}"
