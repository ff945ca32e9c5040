"""The report of a study: what was asked, the answers with intervals, the drawings, where the teeth came from, what is left out."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from canalwright.cohort import figures, virtual
from canalwright.cohort.answers import Estimate, Gain, Heat, ReachAnswer
from canalwright.cohort.figures import percent, signed
from canalwright.cohort.job import Row, versions
from canalwright.cohort.paper import Block, Figure, Grid, Heading, Text
from canalwright.cohort.run import Ran
from canalwright.cohort.study_model import Study
from canalwright.cohort.trial_chain import kind_of

LEFT_OUT = (
    "Left out: canals that join, isthmuses, side branches, S-shaped curves, the opposing wall of an oval canal; furcation and "
    "neighbouring roots; a hand that strays from the protocol by more than the drawn errors; the backfill. Every canal is shaped as "
    "its finishing file says. Canal and root widths vary as a whole, not level by level. Intervals are those of the number of virtual "
    "teeth: how far the model and the published distributions are from real teeth is not in them. The evidence page shows where the "
    "heat model agrees with published measurements and where it does not."
)


@dataclass(frozen=True)
class Found:
    """Answers of a study to its questions, the run behind them, and the files that were written."""

    study: Study
    ran: Ran
    heat: list[Heat]
    reach: list[ReachAnswer]
    gains: list[Gain]
    files: tuple[Path, ...]


def blocks(found: Found, rows: Sequence[Row]) -> list[Block]:
    """The whole report."""
    parts: list[Block] = [Text(_asked(found))]
    if found.heat:
        parts += _heat(found, rows)
    if found.reach:
        parts += _reach(found, rows)
    if found.gains:
        parts += _gains(found)
    return [*parts, *_teeth(found.study), *_aside(found), Heading("What it leaves out"), Text(LEFT_OUT), *_made(found)]


def _asked(found: Found) -> str:
    about, groups = found.study.model.study, len(found.study.model.group)
    teeth = len(found.ran.outcomes) // groups
    return (
        f"{teeth} virtual teeth{' of each group' if groups > 1 else ''}, {about.draws} draws in each of what is uncertain (materials, "
        f"blood flow, carrier, hand, reading), the (r, z) heat model run for every draw. Seed {about.seed}: the same file gives the "
        f"same numbers to the bit. No patient is among them. {about.note}"
    ).strip()


def answer_rows(found: Found) -> list[Row]:
    """Every answer as a row: question, group, protocol, what, value, low, high, teeth, aim, verdict."""
    made: list[Row] = []

    def add(ask: str, group: str, protocol: str, what: str, e: Estimate, aim: float | None) -> None:
        made.append(
            {
                "question": ask, "group": group, "protocol": protocol, "what": what, "value": e.value, "low": e.low, "high": e.high,
                "teeth": e.count, "aim": "" if aim is None else aim, "verdict": "" if aim is None else e.verdict(aim),
            }
        )  # fmt: skip

    for h in found.heat:
        aim = _aim(found.study, "heat")
        for what, e in (
            ("fillings under the limit", h.fillings),
            ("teeth with expected rise under it", h.expected),
            ("teeth under it in 19 of 20 draws", h.nearly_always),
        ):
            add("heat", h.group, h.protocol, what, e, aim)
    for r in found.reach:
        add("reach", r.group, r.protocol, "teeth reached as planned", r.teeth, _aim(found.study, "reach"))
        add("reach", r.group, r.protocol, "mean chance of reaching", r.chance, _aim(found.study, "reach"))
    for g in found.gains:
        name = f"{g.after} against {g.before}"
        add("rounds", g.group, name, "soft gutta-percha deeper, mm", g.depth, _worth(found.study))
        add("rounds", g.group, name, "rise, K", g.rise, None)
        add("rounds", g.group, name, "time, s", g.seconds, None)
        if g.void is not None:
            add("rounds", g.group, name, "share of voids", g.void, None)
    return made


def _heat(found: Found, rows: Sequence[Row]) -> list[Block]:
    about, aim = found.study.model.study, _aim(found.study, "heat")
    columns = (
        "group", "protocol", "fillings under the limit", f"keeps {100 * aim:g} %", "teeth, expected rise under it",
        "in 19 of 20 draws", "median; highest expected rise, K", "cannot be done",
    )  # fmt: skip
    cells = tuple(
        (
            h.group, h.protocol, percent(h.fillings), h.fillings.verdict(aim), percent(h.expected), percent(h.nearly_always),
            f"{h.median:.1f}; {h.highest:.1f}", str(h.refused),
        )
        for h in found.heat
    )  # fmt: skip
    shares = [(_name(found, h.group, h.protocol), h.fillings) for h in found.heat]
    drawn: list[Block] = [
        Heading("Which protocols keep the root surface under the limit"),
        Text(
            "A filling is one tooth and one draw; in teeth with several canals the canal with the greatest chance of passing the "
            "limit counts."
        ),
        Grid(f"Under {about.limit_k:g} K at the root surface; aim {100 * aim:g} % of fillings", columns, cells),
        Figure(
            figures.shares_svg("Fillings under the limit", shares, aim, "% of fillings", "heat-shares"),
            "Share of fillings under the limit with 95 % intervals.",
        ),
    ]
    for i, group in enumerate(dict.fromkeys(h.group for h in found.heat)):
        lines = _lines(rows, group, "rise")
        if lines:
            svg = figures.spread_svg(
                f"Expected rise, {group}", lines, "K", (about.limit_k, f"{about.limit_k:g} K"), f"heat-spread-{i}"
            )
            drawn.append(Figure(svg, f"Expected rise at the root surface over teeth, worst canal of each: {group}."))
    return drawn


def _reach(found: Found, rows: Sequence[Row]) -> list[Block]:
    about, aim = found.study.model.study, _aim(found.study, "reach")
    words = f"within {about.within_mm:g} mm of the end"
    columns = (
        "group", "protocol and its tray", "teeth, as planned", f"keeps {100 * aim:g} %", "mean chance", "apical pluggers chosen"
    )  # fmt: skip
    cells = tuple(
        (
            r.group, r.protocol, percent(r.teeth), r.teeth.verdict(aim), percent(r.chance),
            "; ".join(f"{n} {100 * s:.0f} %" for n, s in r.pluggers[:4]),
        )
        for r in found.reach
    )  # fmt: skip
    shares = [(_name(found, r.group, r.protocol), r.teeth) for r in found.reach]
    drawn: list[Block] = [
        Heading("Which pluggers reach"),
        Grid(f"Apical plugger {words}; aim {100 * aim:g} % of teeth", columns, cells),
        Figure(
            figures.shares_svg(f"Teeth reached {words}", shares, aim, "% of teeth", "reach-shares"),
            "Share of teeth in which the apical plugger's stop comes near enough in every canal, with 95 % intervals.",
        ),
    ]
    for i, group in enumerate(dict.fromkeys(r.group for r in found.reach)):
        lines = _lines(rows, group, "stop_short")
        if lines:
            svg = figures.spread_svg(
                f"Stop of the apical plugger, {group}",
                lines,
                "mm from the end",
                (about.within_mm, f"{about.within_mm:g} mm"),
                f"reach-spread-{i}",
            )
            drawn.append(
                Figure(svg, f"Distance of the apical plugger's stop from the end of the preparation: {group}.")
            )
    return drawn


def _gains(found: Found) -> list[Block]:
    worth = _worth(found.study)
    names = [f"{_group(found, g.group)}{g.after} against {g.before}" for g in found.gains]
    columns = (
        "step",
        "soft gutta-percha deeper, mm",
        f"worth it ({worth:g} mm)",
        "rise, K",
        "time, s",
        "voids, % points",
    )
    cells = tuple(
        (
            n,
            signed(g.depth),
            g.depth.verdict(worth),
            signed(g.rise),
            signed(g.seconds, 0),
            "" if g.void is None else _points(g.void),
        )
        for n, g in zip(names, found.gains, strict=True)
    )
    depth = [(n, g.depth) for n, g in zip(names, found.gains, strict=True)]
    deeper = figures.gains_svg("Soft gutta-percha nearer the end", depth, "mm", worth, "gain-depth")
    rise = [(n, g.rise) for n, g in zip(names, found.gains, strict=True)]
    return [
        Heading("What each step gains"),
        Text("Paired within each tooth; each protocol against the one before it in the list."),
        Grid("Mean differences with 95 % intervals", columns, cells),
        Figure(deeper, "How much deeper gutta-percha is soft."),
        Figure(figures.gains_svg("Rise at the root surface", rise, "K", None, "gain-rise"), "What the step costs in heat."),
    ]  # fmt: skip


def _teeth(study: Study) -> list[Block]:
    parts: list[Block] = [Heading("Where the teeth come from")]
    for group in study.model.group:
        told = {
            "tooth": group.tooth,
            "canals": group.canals,
            "shaping": group.file.model_dump(),
            "measured_by": study.model.study.measured_by,
            "wall_factor": group.wall_factor,
        }
        rows = tuple(
            (s.name, f"{s.mean:.3g}", f"{s.deviation:.2g}", s.unit, s.shape, s.source)
            for s in virtual.spreads(kind_of(told))
        )
        file = (
            f"size {group.file.size}"
            if group.file.size
            else f"{group.file.above} ISO sizes over the apical width, {group.file.least} to {group.file.most}"
        )
        title = f"{group.name}: tooth {group.tooth}, finishing file {file}, taper {group.file.taper:g}"
        parts.append(Grid(title, ("drawn", "mean", "standard deviation", "unit", "shape", "source"), rows))
    together = ", ".join(f"{name} {value:g}" for name, value in virtual.correlations().items())
    words = (
        f"Correlations between the canals of one tooth (orifice: with the apical width of the same canal): {together}. Our own "
        "estimate; no published figure was found."
    )
    parts.append(Text(words))
    return parts  # fmt: skip


def _aside(found: Found) -> list[Block]:
    aside = found.ran.set_aside
    if not aside:
        return []
    shown = tuple(list(aside.items())[:20])
    return [Heading("Set aside"), Grid(f"{len(aside)} of {len(found.ran.outcomes)} teeth", ("tooth", "reason"), shown)]


def _made(found: Found) -> list[Block]:
    made = ", ".join(f"{name} {value}" for name, value in versions().items())
    return [Heading("Made with"), Text(f"{made}. Data: teeth.parquet, teeth.csv, answers.csv beside this report.")]


def _lines(rows: Sequence[Row], group: str, column: str) -> list[tuple[str, NDArray[np.float64]]]:
    """By protocol, the greatest value of each tooth."""
    found: dict[str, dict[str, float]] = {}
    for row in rows:
        if row["group"] == group and row.get(column) is not None:
            teeth = found.setdefault(row["protocol"], {})
            teeth[row["tooth"]] = max(teeth.get(row["tooth"], -np.inf), float(row[column]))
    return [(name, np.array(list(teeth.values()))) for name, teeth in found.items()]


def _name(found: Found, group: str, protocol: str) -> str:
    return f"{_group(found, group)}{protocol}"


def _group(found: Found, group: str) -> str:
    return f"{group}: " if len(found.study.model.group) > 1 else ""


def _aim(study: Study, ask: str) -> float:
    return next(q.share for q in study.questions if q.ask == ask)


def _worth(study: Study) -> float:
    return next(q.worth_mm for q in study.questions if q.ask == "rounds")


def _points(e: Estimate) -> str:
    return f"{100 * e.value:+.2f} ({100 * e.low:+.2f} to {100 * e.high:+.2f})"
