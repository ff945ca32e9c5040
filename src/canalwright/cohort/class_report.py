"""Reports of a class: one for all, by pseudonym, and one for each student with the own debrief and the own place alone."""

import json
from collections.abc import Mapping, Sequence
from statistics import median

from canalwright.cohort.job import Row
from canalwright.cohort.paper import Block, Grid, Heading, Text
from canalwright.cohort.ranking import MEASURES, Placed

HOW = (
    "Ranks are the mean of the ranks in these measures: share of steps worth a word, error of the depths, error of the seconds of heat, "
    "rise at the root surface above the plan's and, where there are scans after the filling, distance of its end from the planned one. "
    "They tell how closely the protocol was kept, not how good a clinician somebody is."
)
FEWEST = 5
"""In a smaller class the middle of all would tell a student what another one did."""
LEFT_OUT = (
    "The rise is the model's, with what was logged: a depth that was not noted counts as planned, bleeding and a cone that moved are not "
    "modelled. Intervals are 5 to 95 %."
)


def whole(places: Sequence[Placed], missing: Sequence[str], aside: Mapping[str, str]) -> list[Block]:
    """The report of the class."""
    columns = ("place", "student", "mean rank", "logs", *MEASURES.values())
    cells = tuple(
        (str(p.place), p.student, f"{p.mean:.2f}", str(p.logs), *(_number(v) for v in p.values)) for p in places
    )
    parts: list[Block] = [
        Text(HOW),
        Grid(f"{len(places)} {'student' if len(places) == 1 else 'students'} who handed something in", columns, cells),
        Text(LEFT_OUT),
    ]
    if missing:
        parts += [Heading("Nothing to debrief"), Text("No usable log from: " + ", ".join(missing) + ".")]
    if aside:
        parts += [Heading("Set aside"), Grid("Logs that could not be read", ("log", "reason"), tuple(aside.items()))]
    return parts


def single(student: str, rows: Sequence[Row], places: Sequence[Placed], aside: Mapping[str, str]) -> list[Block]:
    """The report of one student; of the others it tells the number and the middle of the class, nothing that points to one."""
    own = next((p for p in places if p.student == student), None)
    parts: list[Block] = []
    if own is None:
        parts.append(Text("No usable log was handed in."))
    else:
        shown = len(places) >= FEWEST
        middle = [_middle([p.values[i] for p in places]) if shown else None for i in range(len(MEASURES))]
        cells = tuple(
            (words, _number(value), _number(m), f"{rank:g} of {len(places)}")
            for words, value, m, rank in zip(MEASURES.values(), own.values, middle, own.ranks, strict=True)
        )
        parts += [
            Text(f"Place {own.place} of {len(places)}. {HOW}"),
            Grid("Your measures", ("measure", "yours", "middle of the class", "rank"), cells),
        ]
    for row in rows:
        parts += _debrief(row) if row.get("lines") else _checked(row)
    if aside:
        parts += [Heading("Set aside"), Grid("Logs that could not be read", ("log", "reason"), tuple(aside.items()))]
    return [*parts, Text(LEFT_OUT)]


def _debrief(row: Row) -> list[Block]:
    lines = json.loads(row["lines"])
    cells = tuple(
        (str(step), kind, _number(planned), _number(seconds), _number(aim), _number(depth), notes, "yes" if off else "")
        for step, kind, planned, seconds, aim, depth, notes, off in lines
    )
    columns = ("step", "act", "planned, s", "done, s", "planned depth, mm", "noted depth, mm", "notes", "worth a word")
    rise, planned = (
        f"{row[n]:.1f} K ({row[f'{n}_low']:.1f} to {row[f'{n}_high']:.1f})" for n in ("rise", "planned_rise")
    )
    return [
        Heading(f"{row['tooth_name']}, {row['canal']} canal of tooth {row['number']}"),
        Text(
            f"{row['done']} of {row['steps']} steps in {row['seconds']:.0f} s; {row['off']} worth a word. "
            f"Root surface as carried out: {rise}; planned {planned}."
        ),
        Grid("Step by step", columns, cells),
    ]


def _checked(row: Row) -> list[Block]:
    title = Heading(f"{row['tooth_name']}, {row['canal']} canal of tooth {row['number']}: the finished filling")
    if row.get("check_reason"):
        return [title, Text(f"Not checked: {row['check_reason']}")]

    def told(name: str, unit: str, factor: float = 1.0) -> str:
        value, low, high = (row.get(f"{name}{end}") for end in ("", "_low", "_high"))
        if value is None or low is None or high is None:
            return "not seen"
        return f"{factor * value:.2f} {unit} ({factor * low:.2f} to {factor * high:.2f})"

    cells = (
        ("grade", str(row["check_grade"])),
        (
            "end of the filling from the terminus",
            f"{told('check_to_terminus', 'mm')}; planned {row['planned_end']:.1f} mm",
        ),
        ("length filled", told("check_filled", "mm")),
        ("voids, share of the filling", told("check_void", "%", 100.0)),
        ("smallest void that would be seen", told("check_smallest_void", "mm")),
        ("beyond the root", str(row["check_beyond"])),
        ("cannot be seen here", str(row["check_not_seen"] or "")),
    )
    return [title, Grid("", ("what", "found"), cells)]


def _middle(values: Sequence[float | None]) -> float | None:
    there = [v for v in values if v is not None]
    return median(there) if there else None


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}".rstrip("0").rstrip(".")
