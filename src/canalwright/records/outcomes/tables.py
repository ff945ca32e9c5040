"""Results as CSV (RFC 4180), safe to open in a spreadsheet: a text that would start a formula gets an apostrophe."""

import csv
import io
from collections.abc import Iterable, Sequence

from canalwright.records.outcomes.process import Chart
from canalwright.records.outcomes.summary import Stratum
from canalwright.records.outcomes.survival import Curve

STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def write_csv(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table as text, UTF-8 once encoded, lines ending in CR LF."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([_safe(h) for h in header])
    writer.writerows([_safe(cell) for cell in row] for row in rows)
    return out.getvalue()


def curve_csv(curve: Curve) -> str:
    """A curve up to where fewer than 5 are at risk."""
    columns = (curve.times, curve.value, curve.low, curve.high, curve.at_risk, curve.events)
    header = ("time_months", "share", f"low_{curve.level:g}", f"high_{curve.level:g}", "at_risk", "events")
    return write_csv(header, [row for row in zip(*columns, strict=True) if row[0] <= curve.until])


def strata_csv(factor: str, found: Iterable[Stratum]) -> str:
    """Success by group; a group too small has its reason instead of figures."""
    header = (
        "factor",
        "group",
        "cases",
        "strict",
        "strict_low",
        "strict_high",
        "loose",
        "loose_low",
        "loose_high",
        "refused",
    )
    rows = []
    for s in found:
        figures = [x for p in (s.strict, s.loose) for x in ((p.value, p.low, p.high) if p else ("", "", ""))]
        rows.append((factor, s.name, s.cases, *figures, s.refused))
    return write_csv(header, rows)


def chart_csv(chart: Chart) -> str:
    """The points of a process chart with its lines."""
    header = ("case", "filled_on", chart.name, "centre", "low", "high", "signal")
    lines = (chart.centre, chart.low, chart.high)
    return write_csv(header, [(p.case, p.on.isoformat(), p.value, *lines, p.signal) for p in chart.points])


def _safe(cell: object) -> object:
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(STARTS) else cell
