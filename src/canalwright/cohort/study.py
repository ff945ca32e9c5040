"""`study`: virtual teeth by the thousand, their table, the answers, and the report.

OUT/teeth.parquet   one row for each canal and protocol, with provenance      OUT/teeth.csv    the same, plain
OUT/answers.csv     every number of the report                                OUT/study.html, OUT/study.pdf
"""

from collections.abc import Callable
from pathlib import Path

from canalwright.cohort import answers, paper, table
from canalwright.cohort.fleet import Local
from canalwright.cohort.job import CohortError, Row
from canalwright.cohort.run import Progress, run
from canalwright.cohort.store import Store
from canalwright.cohort.study_model import Study
from canalwright.cohort.study_report import Found, answer_rows, blocks


def study(
    plan: Study,
    out: Path,
    where: Local | str | None = None,
    *,
    teeth: int | None = None,
    patience: float = 60.0,
    tell: Callable[[Progress], None] = lambda progress: None,
) -> Found:
    """Run a study and write its report; taken up where it was cut short. Raises CohortError where nothing came of any tooth."""
    about = {"study": plan.model.model_dump(exclude_none=True), "teeth": teeth or plan.model.study.teeth}
    ran = run(plan.jobs(teeth), out, where, about=about, patience=patience, tell=tell)
    rows: list[Row] = [row for row in ran.table.to_pylist() if row["status"] == "done"]
    if not rows:
        reason = next(iter(ran.set_aside.values()), "no tooth")
        raise CohortError(f"nothing came of any tooth of this study; the first: {reason}")
    asked = {q.ask for q in plan.questions}
    found = Found(
        plan, ran,
        answers.heat(rows, plan.model.study.limit_k) if "heat" in asked else [],
        answers.reach(rows) if "reach" in asked else [],
        answers.gains(rows) if "rounds" in asked else [],
        (),
    )  # fmt: skip
    store, title = Store(out), plan.model.study.title
    parts = blocks(found, rows)
    written = (
        ran.path,
        store.write("teeth.csv", table.csv(ran.table)),
        store.write("answers.csv", paper.csv_bytes(answer_rows(found))),
        store.write("study.html", paper.html(title, parts).encode()),
        store.write("study.pdf", paper.pdf(title, parts)),
        *(store.write(f"figures/{f.name}.svg", f.svg.encode()) for f in parts if isinstance(f, paper.Figure)),
    )
    return Found(plan, ran, found.heat, found.reach, found.gains, written)
