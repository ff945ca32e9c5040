"""records: who is due, and what the recalls teach."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from canalwright.cli import inputs, output
from canalwright.cli.records_keys import Home, Keyring, Url, day_of, opened

if TYPE_CHECKING:
    from canalwright.records.caseview import CaseView
    from canalwright.records.outcomes import Proportion, Summary

Until = Annotated[str | None, typer.Option("--by", metavar="DAY", help="Due on or before this day; without it today.")]
Today = Annotated[str | None, typer.Option("--today", metavar="DAY", help="Reckon as of this day.")]
Operator = Annotated[str | None, typer.Option("--operator", metavar="NAME", help="Cases of this user only.")]
Calendar = Annotated[
    Path | None, typer.Option("--calendar", metavar="FILE", help="Write them as iCalendar too, under pseudonyms.")
]
Folder = Annotated[
    Path | None, typer.Option("--out", metavar="FOLDER", help="Write tables (CSV) and pictures (SVG) into this folder.")
]
MOST = 500


def due(
    home: Home, by: Until = None, operator: Operator = None, calendar: Calendar = None, keyring: Keyring = None,
    url: Url = None, json: inputs.AsJson = False,
) -> None:  # fmt: skip
    """List recalls that are due, the longest due first."""
    day = day_of("--by", by)
    with opened(home, "recalls due", keyring=keyring, url=url) as store:
        page = store.cases.due(day, operator=operator, limit=MOST)
        if calendar:
            from canalwright.records.files import write_whole
            from canalwright.records.recall.calendar import calendar_of

            write_whole(calendar, calendar_of(page.rows, store.vault.clock(), store.vault.key_file.store))
    _print(page.rows, page.total, "due", json)
    if calendar and not json:
        output.line(f"wrote {calendar}")


def overdue(
    home: Home, today: Today = None, operator: Operator = None, keyring: Keyring = None, url: Url = None,
    json: inputs.AsJson = False,
) -> None:  # fmt: skip
    """List recalls that are more than 30 days past."""
    day = day_of("--today", today)
    with opened(home, "recalls overdue", keyring=keyring, url=url) as store:
        page = store.cases.overdue(day, operator=operator, limit=MOST)
    _print(page.rows, page.total, "overdue", json)


def outcomes(
    home: Home, today: Today = None, operator: Operator = None, out: Folder = None, keyring: Keyring = None,
    url: Url = None, json: inputs.AsJson = False,
) -> None:  # fmt: skip
    """Sum up the outcomes beside published figures; what rests on too few cases is refused."""
    from canalwright.records.outcomes import outcomes_of, summarise

    day = day_of("--today", today)
    with opened(home, "outcomes", keyring=keyring, url=url) as store:
        rows = outcomes_of(store, day, operator)
    summary = summarise(rows)
    written = _written(out, rows, summary) if out else []
    if json:
        output.print_json({**_summary_json(summary), "files": written})
        return
    for line in _summary_text(summary):
        output.line(line)
    for name in written:
        output.line(f"wrote {name}")


def _written(folder: Path, rows: Any, summary: "Summary") -> list[str]:
    from canalwright.records.files import write_whole
    from canalwright.report.outcomes import outcome_files

    folder.mkdir(parents=True, exist_ok=True)
    names = []
    for name, content in outcome_files(rows, summary).items():
        write_whole(folder / name, content.encode())
        names.append(str(folder / name))
    return names


def _print(rows: "tuple[CaseView, ...]", total: int, word: str, json: bool) -> None:
    if json:
        keys = ("case_id", "patient", "tooth", "operator", "filled", "last_recall", "next_due", "recalls")
        output.print_json({"total": total, "cases": [{k: getattr(row, k) for k in keys} for row in rows]})
        return
    for row in rows:
        seen = f"last seen {row.last_recall}" if row.last_recall else "never seen"
        output.line(f"{row.next_due}  {row.patient}  tooth {row.tooth}  {row.case_id}  filled {row.filled}, {seen}")
    output.line(f"{total} {word}" + (f"; the first {len(rows)} shown" if total > len(rows) else ""))


def _summary_json(summary: "Summary") -> dict[str, Any]:
    from dataclasses import asdict

    recalls = asdict(summary.recalls)
    whole = asdict(summary)
    keys = ("overall", "strata", "survival", "lost_by_cause", "healing", "readers", "beside", "refused")
    return {"recalls": recalls, **{k: whole[k] for k in keys}}


def _summary_text(summary: "Summary") -> list[str]:
    r = summary.recalls
    lines = [
        f"Filled teeth: {r.filled}; followed for a year: {r.followed}; lost to recall: {r.lost}; overdue: {r.overdue}",
        f"  recall rate {_share(r.rate)}",
        "Success at the last recall (95 % interval)",
    ]
    for factor, strata in [("", (summary.overall,)), *summary.strata.items()]:
        for s in strata:
            name = f"{factor}: {s.name}" if factor else "all"
            shown = f"strict {_share(s.strict)}, loose {_share(s.loose)}" if s.strict else s.refused
            lines.append(f"  {name}: {s.cases} judged; {shown}")
    lines += ["Published, to lay beside"]
    for p in summary.beside:
        spread = f" ({100 * p.low:.0f}–{100 * p.high:.0f})" if p.low is not None and p.high is not None else ""
        lines.append(f"  {p.outcome}, {p.criteria}: {100 * p.value:.0f} %{spread}, {p.group}; {p.source}; {p.seen}")
    lines += (
        ["Refused rather than shown", *(f"  {k}: {v}" for k, v in summary.refused.items())] if summary.refused else []
    )
    return lines


def _share(p: "Proportion | None") -> str:
    return f"{100 * p.value:.0f} % ({100 * p.low:.0f}–{100 * p.high:.0f}, {p.count} of {p.of})" if p else "refused"
