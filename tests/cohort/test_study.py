"""A study from its file to its report, and the command line."""

import csv
from pathlib import Path

import pytest
from typer.testing import CliRunner

from canalwright import casefile
from canalwright.casefile import CaseError
from canalwright.cli.app import app
from canalwright.cohort.fleet import Local
from canalwright.cohort.job import CohortError
from canalwright.cohort.study import study
from canalwright.cohort.study_model import Study
from canalwright.cohort.table import read

STUDY = """
[study]
version = 1
title = "Two arms <b>"
seed = 7
teeth = 4
draws = 64

[[group]]
name = "lower molar"
tooth = 46
canals = ["MB"]
file = { size = 30, taper = 0.04 }

[[protocol]]
name = "1 round"
activation = 2.0
rounds = 1

[[protocol]]
name = "2 rounds"
activation = 2.0
rounds = 2

[[question]]
ask = "heat"
[[question]]
ask = "reach"
share = 0.95
[[question]]
ask = "rounds"
"""


def test_a_study_answers_with_intervals_and_reports(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(STUDY)
    plan = Study.load(tmp_path / "s.toml")
    found = study(plan, tmp_path / "out", Local(0))
    assert len(found.heat) == len(found.reach) == 2 and len(found.gains) == 1
    assert all(h.fillings.low <= h.fillings.value <= h.fillings.high for h in found.heat)
    names = {path.name for path in found.files}
    drawn = {name for name in names if name.endswith(".svg")}
    assert drawn == {
        f"{n}.svg"
        for n in ("heat-shares", "heat-spread-0", "reach-shares", "reach-spread-0", "gain-depth", "gain-rise")
    }
    assert names - drawn == {"teeth.parquet", "teeth.csv", "answers.csv", "study.html", "study.pdf"}
    page = (tmp_path / "out" / "study.html").read_text()
    assert (
        "Two arms &lt;b&gt;" in page
        and "<svg" in page
        and "Decision support for trained" in page
        and "Left out" in page
    )
    assert "http://" not in page.replace("http://www.w3.org/", "")
    answers = list(csv.DictReader((tmp_path / "out" / "answers.csv").read_text().splitlines()))
    assert {a["question"] for a in answers} == {"heat", "reach", "rounds"}
    rows, told = read(tmp_path / "out" / "teeth.parquet")
    assert len(rows) == 8 and told["about"]["study"]["study"]["seed"] == 7
    first = study(plan, tmp_path / "fewer", Local(0), teeth=2)
    assert first.ran.table.to_pylist() == [
        r for r in found.ran.table.to_pylist() if r["tooth"] in ("g1-000000", "g1-000001")
    ]
    again = study(plan, tmp_path / "out", Local(0))
    assert again.ran.kept == 4 and (tmp_path / "out" / "study.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("teeth = 4", "teeth = 0", "study.teeth"),
        ('ask = "heat"', 'ask = "beauty"', "question"),
        ('canals = ["MB"]', 'canals = ["palatal"]', "known to have"),
        ("size = 30", "size = 31", "ISO 3630-1"),
        ('name = "2 rounds"', 'name = "1 round"', "own name"),
        ('name = "2 rounds"', 'name = "2 rounds"\ntray = "none.toml"', "none.toml"),
    ],
)
def test_what_is_wrong_in_a_study_file_is_told(tmp_path: Path, old: str, new: str, says: str) -> None:
    (tmp_path / "s.toml").write_text(STUDY.replace(old, new))
    with pytest.raises((CohortError, CaseError), match=says):
        Study.load(tmp_path / "s.toml")


def test_the_command_line_sets_aside_what_cannot_be_and_goes_on(tmp_path: Path) -> None:
    teeth = tmp_path / "teeth"
    teeth.mkdir()
    whole = casefile.demo_case().model
    casefile.dump(casefile.from_model(whole.model_copy(update={"canal": [whole.canal[2]]})), teeth / "good.toml")
    (teeth / "broken.toml").write_text("[tooth]\nnumber = 99\n")
    out = str(tmp_path / "out")
    command = ["cohort", "run", str(teeth), "--out", out, "--draws", "64", "--workers", "0"]
    found = CliRunner().invoke(app, command)
    assert found.exit_code == 0, found.output
    assert "1 of 2 teeth done" in found.output and "set aside: broken:" in found.output
    rows, _ = read(tmp_path / "out" / "teeth.parquet")
    assert [(r["tooth"], r["status"]) for r in rows] == [("broken", "set aside"), ("good", "done")]
    again = CliRunner().invoke(app, command)
    assert "2 of them from an earlier run" in again.output
