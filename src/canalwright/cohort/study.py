"""`study`: virtual teeth by the thousand, their table, the answers, and the report.

OUT/teeth.parquet   one row for each canal and protocol, with provenance      OUT/teeth.csv    the same, plain
OUT/answers.csv     every number of the report                                OUT/study.html, OUT/study.pdf
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from canalwright.cohort import answers, paper, table
from canalwright.cohort.answers import Gain, Heat, ReachAnswer
from canalwright.cohort.fleet import Local
from canalwright.cohort.job import CohortError, Job, Row
from canalwright.cohort.run import Progress, Ran, run
from canalwright.cohort.store import Store
from canalwright.cohort.study_model import QuestionTable, StudyModel, load_study


@dataclass(frozen=True)
class Study:
    """A study file with the text of its trays."""

    model: StudyModel
    trays: dict[str, str | None]

    @classmethod
    def load(cls, path: Path) -> "Study":
        """Read a study file; raises CaseError or CohortError for what is wrong in it."""
        return cls(*load_study(path))

    @property
    def questions(self) -> list[QuestionTable]:
        """Those of the file; without any: heat, and reach in 95 %."""
        return self.model.question or [QuestionTable(ask="heat"), QuestionTable(ask="reach", share=0.95)]

    def jobs(self, teeth: int | None = None) -> list[Job]:
        """One job for each virtual tooth of each group; fewer `teeth` give the first ones of the same."""
        about = self.model.study
        protocols = [{"name": p.name, "choices": p.choices(), "tray": self.trays[p.name]} for p in self.model.protocol]
        found = []
        for i, group in enumerate(self.model.group):
            told = {
                "name": group.name, "tooth": group.tooth, "canals": group.canals, "shaping": group.file.model_dump(),
                "measured_by": about.measured_by, "wall_factor": group.wall_factor,
            }  # fmt: skip
            for number in range(teeth or about.teeth):
                content: dict[str, Any] = {
                    "group": told, "seed": about.seed, "number": number, "protocols": protocols, "draws": about.draws,
                    "press": about.press, "limit": about.limit_k, "within": about.within_mm,
                }  # fmt: skip
                found.append(Job(f"g{i + 1}-{number:06d}", "trial", content))
        return found


@dataclass(frozen=True)
class Found:
    """Answers of a study to its questions, the run behind them, and the files that were written."""

    study: Study
    ran: Ran
    heat: list[Heat]
    reach: list[ReachAnswer]
    gains: list[Gain]
    files: tuple[Path, ...]


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
    from canalwright.cohort.study_report import answer_rows, blocks

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
