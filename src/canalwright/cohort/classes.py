"""Classes: teeth and a protocol for each student, their chair logs collected, ranked and debriefed, anonymous to each other.

    OUT/class.json                     settings and assignments, by pseudonym: no name of a student is written anywhere here
    OUT/hand-out/PSEUDONYM/TOOTH.toml  the case, and TOOTH-CANAL.pdf, the card of the class's protocol
    OUT/hand-in/PSEUDONYM/             where the teacher puts each student's logs of the chair (*.jsonl) and scans after the
                                       filling (TOOTH.after.nii.gz, or a folder TOOTH.after)
    OUT/reports/                       PSEUDONYM.html and .pdf for one student's eyes; class.html and .pdf; scores.csv

A pseudonym comes from the student's name and a key that the teacher holds (HMAC-SHA256): without the key neither can be told
from the other, with it `names` tells them again.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from canalwright import casefile, planning
from canalwright.cohort import class_report, paper
from canalwright.cohort.chain import case_of, tray_of
from canalwright.cohort.class_model import Practical, assignments, pseudonyms
from canalwright.cohort.fleet import Local
from canalwright.cohort.job import CohortError, Job, Row
from canalwright.cohort.ranking import Placed, placed
from canalwright.cohort.run import Progress, Ran, run
from canalwright.cohort.sources import gather
from canalwright.cohort.store import Store
from canalwright.cohort.traced import file_hash
from canalwright.planning import Choices
from canalwright.report import card

SCANNED = ("scan", "before", "mask", "click", "orifices", "termini", "names", "voxel", "basis", "hashes")
"""What the table of the teeth tells of the scan before the filling."""


@dataclass(frozen=True)
class Collected:
    """What a class handed in: places by pseudonym, the run behind them, files written, and who handed in nothing."""

    ran: Ran | None
    places: tuple[Placed, ...]
    missing: tuple[str, ...]
    files: tuple[Path, ...]


def assign(practical: Practical, key: bytes, out: Path) -> dict[str, tuple[str, ...]]:
    """Hand out teeth: writes OUT/class.json and the hand-outs; gives the teeth by pseudonym.

    Raises CohortError where OUT holds a class already, or a tooth cannot be read.
    """
    if (out / "class.json").exists():
        raise CohortError(f"{out}: holds a class already; name another folder, or collect this one")
    about = practical.model.class_
    jobs = gather(practical.teeth)
    cases = {job.ident: case_of(job.ident, job.content) for job in jobs}
    names = tuple(pseudonyms(practical.students, key).values())
    given = assignments(names, tuple(cases), about.teeth_each, about.seed)
    choices = {**practical.model.protocol.choices(), "draws": about.draws, "seed": about.seed}
    tray = tray_of(practical.tray)
    plans = {
        (tooth, canal.name): planning.plan(canal, tray, Choices(**choices))
        for tooth in sorted({t for teeth in given.values() for t in teeth})
        for canal in cases[tooth].canals
    }
    for name, teeth in given.items():
        folder = out / "hand-out" / name
        folder.mkdir(parents=True, exist_ok=True)
        (out / "hand-in" / name).mkdir(parents=True, exist_ok=True)
        for tooth in teeth:
            casefile.dump(cases[tooth], folder / f"{tooth}.toml")
            for canal in cases[tooth].canals:
                card(plans[tooth, canal.name], None, folder / f"{tooth}-{canal.name.replace(' ', '-')}.pdf", label=name)
    told = {
        "version": 1, "title": about.title, "choices": choices, "tray": practical.tray,
        "scans": {job.ident: {k: v for k, v in job.content.items() if k in SCANNED} for job in jobs},
        "students": {n: {t: casefile.load(out / "hand-out" / n / f"{t}.toml").digest for t in teeth} for n, teeth in given.items()},
    }  # fmt: skip
    Store(out).write_json("class.json", told)
    return given


def collect(
    out: Path,
    where: Local | str | None = None,
    *,
    patience: float = 60.0,
    tell: Callable[[Progress], None] = lambda progress: None,
) -> Collected:
    """Debrief and rank what lies in OUT/hand-in, and write the reports. Raises CohortError where OUT holds no class."""
    told = _class(out)
    jobs = _jobs(out, told)
    ran = (
        run(jobs, out / "chair", where, about={"class": told["title"]}, patience=patience, tell=tell) if jobs else None
    )
    rows: list[Row] = [r for r in ran.table.to_pylist() if r["status"] == "done"] if ran else []
    places = placed(rows)
    students: Mapping[str, Any] = told["students"]
    missing = tuple(n for n in students if n not in {p.student for p in places})
    store = Store(out)
    files = [store.write("reports/scores.csv", paper.csv_bytes([p.row() for p in places]))]
    whole = class_report.whole(places, missing, ran.set_aside if ran else {})
    files += _written(store, "class", told["title"], whole)
    for name in students:
        own = [row for row in rows if row["student"] == name]
        aside = {k: v for k, v in (ran.set_aside if ran else {}).items() if k.startswith(f"{name}.")}
        files += _written(store, name, f"{told['title']}: {name}", class_report.single(name, own, places, aside))
    return Collected(ran, places, missing, tuple(files))


def names(practical: Practical, key: bytes) -> dict[str, str]:
    """Student by pseudonym, for the teacher alone."""
    return {pseudonym: student for student, pseudonym in pseudonyms(practical.students, key).items()}


def _class(out: Path) -> dict[str, Any]:
    try:
        found: dict[str, Any] = json.loads((out / "class.json").read_text(encoding="utf-8"))
        if found["version"] != 1:
            raise ValueError
    except (OSError, ValueError, KeyError, TypeError):
        raise CohortError(f"{out}: holds no class; begin one with `cohort class assign`") from None
    return found


def _jobs(out: Path, told: Mapping[str, Any]) -> list[Job]:
    """One job for each log and each scan of each student."""
    found = []
    for name, teeth in told["students"].items():
        for i, path in enumerate(sorted((out / "hand-in" / name).glob("*.jsonl")), 1):
            content = {
                "student": name, "teeth": teeth, "tray": told["tray"], "choices": told["choices"],
                "log": path.read_text(encoding="utf-8", errors="replace"),
            }  # fmt: skip
            found.append(Job(f"{name}.{i}", "chair", content))
        for path in sorted((out / "hand-in" / name).glob("*.after*")):
            tooth = path.name.partition(".after")[0]
            if tooth not in teeth:
                raise CohortError(
                    f"{path}: tooth {tooth!r} was not given to this student; there are {', '.join(teeth)}"
                )
            before = told["scans"][tooth]
            content = {
                **before, "hashes": {**before.get("hashes", {}), "after": file_hash(path)}, "after": str(path.resolve()),
                "student": name, "tooth_name": tooth, "tray": told["tray"], "choices": told["choices"],
                "case": (out / "hand-out" / name / f"{tooth}.toml").read_text(encoding="utf-8"),
            }  # fmt: skip
            found.append(Job(f"{name}.check.{tooth}", "check", content))
    return found


def _written(store: Store, name: str, title: str, blocks: list[paper.Block]) -> list[Path]:
    return [
        store.write(f"reports/{name}.html", paper.html(title, blocks).encode()),
        store.write(f"reports/{name}.pdf", paper.pdf(title, blocks)),
    ]
