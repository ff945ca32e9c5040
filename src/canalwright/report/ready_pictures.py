"""Pictures of the verdict before the cone: soundings of the length on one scale, and what reach costs in dentine.

Coordinates are those of the viewBox; colours come from the style sheet of the page (classes). Each has a sentence for who cannot see
it; every number drawn stands in a table beside the picture too. `say` puts a word into the reader's language.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from canalwright.readiness import Length, ShapeOption, TradeOff
from canalwright.readiness.length import Z90
from canalwright.readiness.shape import PLUGGER_NEAREST, PLUGGER_WITHIN
from canalwright.report.svg import el, path, tag, text
from canalwright.shaping.wall import THIN

Say = Callable[[str], str]
LANDMARKS = ("constriction", "foramen", "apex")
WIDE, EDGE = 640.0, 20.0


@dataclass(frozen=True, slots=True)
class Axis:
    """Values from `low` to `high` at places from `start` to `stop`."""

    low: float
    high: float
    start: float
    stop: float

    def __call__(self, value: float) -> float:
        """The place of a value."""
        return self.start + (self.stop - self.start) * (value - self.low) / (self.high - self.low)

    def ticks(self, steps: Sequence[float] = (0.1, 0.2, 0.5, 1, 2, 5), most: int = 9) -> list[float]:
        """Round values between, no more than `most`."""
        step = next((s for s in steps if (self.high - self.low) / s <= most), steps[-1])
        first = int(self.low / step) + (self.low > 0)
        return [
            round(step * i, 6) for i in range(first, int(self.high / step) + 1) if self.low <= step * i <= self.high
        ]


def length_svg(found: Length, planned: float, say: Say = str) -> str:
    """Every sounding, its bias taken off, with its interval, the three landmarks below, and the working length as a line."""
    row, left, top = 26.0, 190.0, 8.0
    bars = [
        (say(s.method), s.value - s.known.bias, Z90 * s.known.error, Z90 * s.known.error, "own")
        for s in found.soundings
    ]
    for name in LANDMARKS:
        q = getattr(found, name)
        bars.append((say(name), q.value, q.value - q.low, q.high - q.value, name))
    low, high = min(planned, *(b[1] - b[2] for b in bars)) - 0.3, max(planned, *(b[1] + b[3] for b in bars)) + 0.3
    height = top + row * len(bars) + 40
    x = Axis(low, high, left, WIDE - EDGE)
    drawn = [tag("title", say("Measurements of the length and what they say together; the numbers stand below."))]
    for value in x.ticks((1, 2, 5)):
        drawn.append(el("line", x1=x(value), x2=x(value), y1=top, y2=height - 36, class_="grid"))
        drawn.append(text(f"{value:g}", x=x(value), y=height - 22, text_anchor="middle", class_="tick"))
    drawn.append(text("mm", x=WIDE, y=height - 22, text_anchor="end", class_="tick"))
    drawn.append(el("line", x1=x(planned), x2=x(planned), y1=top, y2=height - 34, class_="planned"))
    drawn.append(
        text(say("working length"), x=x(planned), y=height - 6, text_anchor="middle", class_="tick planned-word")
    )
    for i, (name, value, below, above, kind) in enumerate(bars):
        y = top + row * (i + 0.5)
        drawn += [
            text(name, x=left - 12, y=y + 4, text_anchor="end", class_=f"name {kind}"),
            el("line", x1=x(value - below), x2=x(value + above), y1=y, y2=y, class_=f"span {kind}"),
            el("circle", cx=x(value), cy=y, r=5, class_=f"dot {kind}"),
        ]
    return el("svg", *drawn, viewBox=f"0 0 {WIDE:g} {height:g}", class_="rd-ladder", role="img")


def trade_off_svg(found: TradeOff, say: Say = str) -> str:
    """Least dentine against how near the deepest plugger comes to the end; empty where the tray has no plugger.

    Where every plugger comes near enough, against how near the needle comes: that is what dentine still buys.
    The options that no other beats are joined, the file of the plan has its intervals as a cross.
    """
    options = [o for o in (*found.options, found.present) if o.plugger_short is not None]
    if not options:
        return ""
    needle = all(_short(o) <= PLUGGER_NEAREST and o.needle_short is not None for o in options)
    high, left, right, top, bottom = 340.0, 56.0, WIDE - 84, 34.0, 294.0
    x = Axis(min(0.0, *(o.dentine.low for o in options)), max(o.dentine.high for o in options) + 0.05, left, right)
    y = Axis(
        0.0,
        max(PLUGGER_WITHIN, *(_short(o, needle) for o in options), _reach(found.present, needle)) + 0.5,
        top,
        bottom,
    )
    curve = [(x(o.dentine.value), y(_short(o, needle))) for o in found.curve if o.plugger_short is not None]
    drawn = [
        tag(
            "title",
            say("Least dentine against how near the instrument comes to the end; the table has the numbers."),
        ),
        *_axes(x, y, high, say, needle),
        el("path", d=path(curve), class_="curve") if len(curve) > 1 else "",
    ]
    kept, placed = {o.file.name for o in found.curve}, list[tuple[float, float]]()
    for option in sorted(options, key=lambda o: (o.file.name != found.present.file.name, -o.dentine.value)):
        name, at = option.file.name, (x(option.dentine.value), y(_short(option, needle)))
        present = name == found.present.file.name
        kind = "present" if present else ("on" if name in kept else "off")
        reach = option.needle_short if needle else option.plugger_short
        if present and reach is not None:
            q = option.dentine
            drawn.append(el("line", x1=x(q.low), x2=x(q.high), y1=at[1], y2=at[1], class_="cross"))
            drawn.append(el("line", x1=at[0], x2=at[0], y1=y(reach.low), y2=y(min(reach.high, y.high)), class_="cross"))
        drawn.append(el("circle", cx=at[0], cy=at[1], r=7 if present else 4.5, class_=f"mark {kind}"))
        free = all(abs(at[0] - px) > 58 or abs(at[1] - py) > 15 for px, py in placed)
        if present or (kind == "on" and free):
            drawn.append(text(name, x=at[0] + 9, y=at[1] - 9, class_=f"name {kind}"))
            placed.append(at)
    return el("svg", *drawn, viewBox=f"0 0 {WIDE:g} {high:g}", class_="rd-curve", role="img")


def _short(option: ShapeOption, needle: bool = False) -> float:
    reach = option.needle_short if needle else option.plugger_short
    return reach.value if reach is not None else 0.0


def _reach(option: ShapeOption, needle: bool) -> float:
    reach = option.needle_short if needle else option.plugger_short
    return reach.high if reach is not None else 0.0


def _axes(x: Axis, y: Axis, high: float, say: Say, needle: bool) -> list[str]:
    near, within = y(PLUGGER_NEAREST), y(PLUGGER_WITHIN)
    drawn = (
        [] if needle else [el("rect", x=x.start, y=near, width=x.stop - x.start, height=within - near, class_="band")]
    )
    for value in x.ticks():
        drawn.append(
            text(f"{value:.1f}".replace("-", "−"), x=x(value), y=high - 28, text_anchor="middle", class_="tick")
        )
        drawn.append(el("line", x1=x(value), x2=x(value), y1=y.start, y2=y.stop, class_="grid"))
    for level in y.ticks((1, 2, 5), 7):
        drawn.append(text(f"{level:g}", x=x.start - 8, y=y(level) + 4, text_anchor="end", class_="tick"))
        drawn.append(el("line", x1=x.start, x2=x.stop, y1=y(level), y2=y(level), class_="grid"))
    middle = (y.start + y.stop) / 2
    return [
        *drawn,
        el("line", x1=x(THIN), x2=x(THIN), y1=y.start, y2=y.stop, class_="thin"),
        text(say("thin"), x=x(THIN) - 5, y=y.start + 10, text_anchor="end", class_="tick"),
        "" if needle else text(say("wanted"), x=x.stop + 5, y=y((PLUGGER_NEAREST + PLUGGER_WITHIN) / 2) + 4, class_="tick"),
        text(say("least dentine left, mm"), x=(x.start + x.stop) / 2, y=high - 8, text_anchor="middle", class_="tick"),
        text(
            say("needle short of the end, mm") if needle else say("plugger short of the end, mm"),
            x=-middle, y=16, text_anchor="middle", transform="rotate(-90)", class_="tick",
        ),
    ]  # fmt: skip
