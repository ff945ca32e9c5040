"""From a `[canal.readiness]` table to the record that `canalwright.readiness` judges by."""

from canalwright.casefile.problems import CaseError, Problem
from canalwright.casefile.readiness_model import ReadinessTable
from canalwright.irrigation import Bath
from canalwright.readiness import FileUsed, GaugeTrial, Irrigated, Landmark, PaperPointReading, Record, Sounding


def record_of(table: ReadinessTable, file: str = "case", where: str = "canal.readiness") -> Record:
    """The record of one canal; raises CaseError with everything that is wrong in it, one line each."""
    wrong: list[Problem] = []
    points: list[PaperPointReading] = []
    for i, p in enumerate(table.paper_points):
        try:
            points.append(PaperPointReading(p.dry_mm, p.far_side_mm, p.blood, p.wet_through, p.side or ""))
        except ValueError as error:
            wrong.append(Problem(file, f"{where}.paper_points[{i}]", f"{p.dry_mm:g}", "", str(error)))
    trials: list[GaugeTrial] = []
    for i, g in enumerate(table.gauges):
        try:
            trials.append(GaugeTrial(g.size, g.passes))
        except ValueError as error:
            wrong.append(Problem(file, f"{where}.gauges[{i}].size", str(g.size), "", str(error)))
    files: list[FileUsed] = []
    for i, f in enumerate(table.files_used):
        try:
            files.append(FileUsed(f.size, f.taper, f.short_mm))
        except ValueError as error:
            wrong.append(Problem(file, f"{where}.files_used[{i}]", f"{f.size}/{f.taper:g}", "", str(error)))
    if wrong:
        raise CaseError(tuple(wrong))
    return Record(
        soundings=tuple(
            Sounding(s.method, s.value_mm, s.error_mm, s.bias_mm, Landmark(s.sees) if s.sees else None)
            for s in table.lengths
        ),
        points=tuple(points),
        trials=tuple(trials),
        irrigated=_irrigated(table),
        age=table.age_years,
        files=tuple(files),
    )


def _irrigated(table: ReadinessTable) -> Irrigated | None:
    done = table.irrigation
    if done is None:
        return None
    return Irrigated(
        Bath(done.percent, done.temperature_C, done.agitation),
        done.hypochlorite_s,
        done.chelator_s,
        None if done.rate_mL_s is None else 1000 * done.rate_mL_s,
        tuple(done.order),
    )
