"""All pictures and tables of the outcomes by name, and success beside published figures.

Each picture that cannot honestly be drawn has its refusal in its place; a table is written only of what is drawn.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from canalwright.records.errors import TooFew
from canalwright.records.outcomes import CaseOutcome, Chart, Summary, chart
from canalwright.records.outcomes.summary import Stratum
from canalwright.records.outcomes.tables import chart_csv, curve_csv, strata_csv
from canalwright.report.axes import Axes
from canalwright.report.curves import (
    RIGHT,
    ROW,
    TOP,
    WIDTH,
    Line,
    chart_svg,
    cited,
    curves_svg,
    cut,
    document,
    refused_svg,
)
from canalwright.report.options import Options
from canalwright.report.svg import el, number

Figures = tuple[str, float, float | None, float | None]
PROCESS = {
    "chair.seconds": "chair time, s",
    "chair.holds_kept": "holds kept",
    "plan.heat margin": "heat margin, K",
}


def pictures(cases: Sequence[CaseOutcome], summary: Summary, *, options: Options | None = None) -> dict[str, str]:
    """Every picture of the outcomes by name, SVG; a refusal stands in the place of one that cannot honestly be drawn."""
    base = options or Options()
    survival = [p for p in summary.beside if p.criteria == "survival"]

    def named(name: str) -> Options:
        return replace(base, prefix=name)

    title = "Teeth still there"
    drawn = {"success": success_svg(summary, options=named("success"))}
    drawn["survival"] = (
        curves_svg(title, [Line("own", summary.survival, 1.0)], survival, options=named("survival"))
        if summary.survival
        else refused_svg(title, summary.refused.get("survival", ""), options=named("survival"))
    )
    lost = [Line(f"lost, {cause}", curve, 0.0) for cause, curve in summary.lost_by_cause.items()]
    title = "Teeth lost, by cause (each the other's rival)"
    drawn["lost"] = (
        curves_svg(title, lost, options=named("lost"))
        if lost
        else refused_svg(title, summary.refused.get("lost, endodontic", ""), options=named("lost"))
    )
    title = "Healed by strict criteria, of teeth with a lesion before"
    drawn["healing"] = (
        curves_svg(title, [Line("healed", summary.healing, 0.0)], options=named("healing"))
        if summary.healing
        else refused_svg(title, summary.refused.get("healing", ""), options=named("healing"))
    )
    for factor, words in PROCESS.items():
        try:
            drawn[_name(factor)] = chart_svg(chart(cases, factor), words, options=named(_name(factor)))
        except TooFew as error:
            drawn[_name(factor)] = refused_svg(words, str(error), options=named(_name(factor)))
    return drawn


def tables(cases: Sequence[CaseOutcome], summary: Summary) -> dict[str, str]:
    """The numbers behind the pictures by the same names, CSV; only what is drawn has a table."""
    found = {"success": "".join(_body(strata_csv(f, s), i) for i, (f, s) in enumerate(_groups(summary)))}
    if summary.survival:
        found["survival"] = curve_csv(summary.survival)
    found |= {f"lost-{cause}": curve_csv(curve) for cause, curve in summary.lost_by_cause.items()}
    if summary.healing:
        found["healing"] = curve_csv(summary.healing)
    found |= {name: chart_csv(made) for name, made in charts(cases).items()}
    return found


def charts(cases: Sequence[CaseOutcome]) -> dict[str, Chart]:
    """Process charts by the names of their pictures; only those that enough cases stand behind."""
    found = {}
    for factor in PROCESS:
        try:
            found[_name(factor)] = chart(cases, factor)
        except TooFew:
            continue
    return found


def outcome_files(cases: Sequence[CaseOutcome], summary: Summary) -> Mapping[str, str]:
    """All pictures and tables by file name."""
    drawn = {f"{name}.svg": svg for name, svg in pictures(cases, summary).items()}
    return drawn | {f"{name}.csv": text for name, text in tables(cases, summary).items()}


def success_svg(summary: Summary, *, options: Options | None = None) -> str:
    """Success by strict and by loose criteria with 95 % intervals: own groups above, published figures below."""
    options = options or Options(prefix="success")
    say = options.say
    own = [(say("all"), summary.overall)]
    own += [(f"{say(factor)}: {say(s.name)}", s) for factor, found in summary.strata.items() for s in found]
    rows: list[tuple[str, list[Figures], str]] = []
    for name, s in own:
        pair = [("strict", s.strict), ("loose", s.loose)]
        bars: list[Figures] = [(kind, p.value, p.low, p.high) for kind, p in pair if p is not None]
        rows.append((f"{name} ({s.cases} {say('judged')})", bars, "" if bars else say(s.refused)))
    theirs = [p for p in summary.beside if p.criteria in ("strict", "loose")]
    rows += [
        (f"{say('published')} {i}: {say(p.outcome).partition(', ')[2]}", [(p.criteria, p.value, p.low, p.high)], "")
        for i, p in enumerate(theirs, 1)
    ]
    p, left, mine = options.palette, 74.0, len(own)
    height = ROW * (len(rows) + 1)
    axes = Axes(left, TOP, WIDTH - left - RIGHT, height, (0.0, 100.0), (0.0, 1.0), options)
    drawn = [axes.x_axis("% success at the last recall")]
    for i, (name, bars, refusal) in enumerate(rows):
        y = TOP + ROW * (i + 0.5 + (i >= mine))
        drawn.append(axes.write(cut(name, left - 3, options), left - 2, y, anchor="end", bold=i == 0))
        drawn += [_bar(axes, y + (1.1 if kind == "loose" else -1.1), kind, v, lo, hi) for kind, v, lo, hi in bars]
        if refusal:
            drawn.append(axes.write(cut(refusal, axes.width - 2, options), left + 2, y, muted=True))
    edge = TOP + ROW * (mine + 0.5)
    drawn.append(
        el("path", d=f"M{number(2)} {number(edge)}H{number(WIDTH - RIGHT)}", stroke=p.hairline, stroke_width=0.3)
    )
    notes = ["Filled dot: strict criteria. Open square: loose criteria. Whiskers: 95 % intervals, where there are any."]
    notes += [f"{name}: {_spoken(bars, say) or refusal}" for name, bars, refusal in rows[:mine]]
    notes += [f"{i}: {say(cited(p))}" for i, p in enumerate(theirs, 1)]
    return document(options, "Success beside published figures", notes, drawn, TOP + height + 10.0)


def _bar(axes: Axes, y: float, kind: str, value: float, low: float | None, high: float | None) -> str:
    p, x = axes.options.palette, axes.x(100 * value)
    drawn = []
    if low is not None and high is not None:
        whisker = f"M{number(axes.x(100 * low))} {number(y)}H{number(axes.x(100 * high))}"
        drawn.append(el("path", d=whisker, stroke=p.ink, stroke_width=0.35))
    if kind == "strict":
        drawn.append(el("circle", cx=x, cy=y, r=0.95, fill=p.plugger.edge))
    else:
        drawn.append(
            el(
                "rect",
                x=x - 0.85,
                y=y - 0.85,
                width=1.7,
                height=1.7,
                fill=p.paper,
                stroke=p.carrier.edge,
                stroke_width=0.4,
            )
        )
    return el("g", *drawn)


def _spoken(bars: Sequence[Figures], say: Callable[[str], str]) -> str:
    return ", ".join(f"{say(k)} {100 * v:.0f} % ({100 * (lo or 0):.0f}–{100 * (hi or 0):.0f})" for k, v, lo, hi in bars)


def _groups(summary: Summary) -> list[tuple[str, tuple[Stratum, ...]]]:
    return [("all", (summary.overall,)), *summary.strata.items()]


def _body(text: str, i: int) -> str:
    """A table without its header when another comes before it."""
    return text if i == 0 else text.split("\r\n", 1)[1]


def _name(factor: str) -> str:
    return factor.replace(".", "-").replace("_", "-").replace(" ", "-")
