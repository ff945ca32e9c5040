"""Protects: every verb works as a user types it, prints JSON on request, and meets bad input with one line and exit code 2."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from canalwright import casefile
from canalwright.cli import main
from canalwright.cli.app import app
from canalwright.cli.inputs import decimal

FEW = ["--draws", "64"]


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "case.toml"
    casefile.dump(casefile.demo_case(), path)
    return path


def run(*arguments: str | Path) -> tuple[int, str]:
    result = CliRunner().invoke(app, [str(a) for a in arguments], catch_exceptions=False)
    return result.exit_code, result.output


def refused(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> str:
    """Run through `main`, as the installed program does; returns what it says."""
    with pytest.raises(SystemExit) as stop:
        main([str(a) for a in arguments])
    assert stop.value.code == 2
    said = capsys.readouterr().err
    assert "Traceback" not in said
    return said


def test_check_case_accepts_the_demo_and_says_what_is_doubtful(case: Path) -> None:
    code, said = run("check-case", case)
    assert code == 0
    assert "good" in said
    assert "46" in said


def test_plan_prints_the_caution_and_json_has_intervals(case: Path) -> None:
    code, said = run("plan", case, "--canal", "distal", *FEW)
    assert code == 0
    assert "Not a certified medical device" in said
    code, said = run("plan", case, "--canal", "distal", "--json", *FEW)
    plan = json.loads(said)["plans"][0]
    assert plan["caution"]
    assert {"value", "low", "high", "unit", "source"} <= set(plan["cone"]["seat"])


def test_a_comma_in_an_option_is_a_decimal_point() -> None:
    assert (decimal("2,5"), decimal("2.5"), decimal(0.5)) == (2.5, 2.5, 0.5)
    code, said = run("plan", "none.toml", "--activation", "two")
    assert code == 2 and "write it as 2.5" in said


def test_simulate_and_card(case: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    code, said = run("simulate", case, "--canal", "distal", "--json", *FEW)
    assert code == 0
    assert json.loads(said)["stories"]
    target = tmp_path / "cards" / "distal.pdf"
    target.parent.mkdir()
    module, printed = sys.modules["canalwright.report.card"], list[str]()
    made = module.card_data
    monkeypatch.setattr(module, "card_data", lambda *a, **k: (printed.append(k["label"]), made(*a, **k))[1])
    code, said = run("card", case, "--canal", "distal", "--out", target, "--paper", "letter", "--language", "es", *FEW)
    assert code == 0
    assert printed == [casefile.demo_case().label], "a page without its label is mixed up with another"
    assert b"/Lang(es)" in target.read_bytes(), "in the language that was asked for"
    code, said = run("card", case, "--language", "xx")
    assert code == 2 and "one of en, es" in said


def test_strict_exits_with_three_when_a_danger_stands(case: Path) -> None:
    code, _ = run("plan", case, "--canal", "mesiobuccal", "--activation", "8", "--temperature", "250", "--strict", *FEW)
    assert code == 3


def test_choices_reach_the_plan(case: Path) -> None:
    _, said = run("plan", case, "--canal", "distal", "--json", "--rounds", "4", "--activation", "2.5", *FEW)
    plan = json.loads(said)["plans"][0]
    assert len(plan["rounds"]) == 4
    assert plan["rounds"][0]["activation"]["value"] == 2.5


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["plan", "{missing}"], "missing.toml"),
        (["plan", "{case}", "--canal", "palatal"], "mesiobuccal, mesiolingual, distal"),
        (["plan", "{case}", "--temperature", "20"], "allowed 100 to 400"),
        (["plan", "{case}", "--carrier", "none such"], "is not on the tray"),
        (["plan", "{case}", "--tray", "{missing}"], "missing.toml"),
        (["plan", "{wrong}"], "taper"),
        (["measure", "{missing}", "{missing}", "--tooth", "46", "--file", "35/0.06", "--out", "{out}"], "missing.toml"),
        (["measure", "{stl}", "--tooth", "46", "--file", "35/0.06", "--out", "{out}"], "dentine"),
        (["card", "{case}", "--paper", "a4", "--out", "{file_in_the_way}", *FEW], "in-the-way"),
    ],
)
def test_bad_input_is_one_line_and_writes_nothing(
    case: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], words: str
) -> None:
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(case.read_text().replace("taper = 0.06", "taper = 0.6"))
    (tmp_path / "in-the-way").write_text("a file")
    (tmp_path / "lumen.stl").write_bytes(b"not a mesh")
    places = {
        "missing": tmp_path / "missing.toml", "case": case, "wrong": wrong, "out": tmp_path / "out.toml",
        "stl": tmp_path / "lumen.stl", "file_in_the_way": tmp_path / "in-the-way",
    }  # fmt: skip
    said = refused(capsys, *(a.format(**places) for a in arguments))
    assert words in said
    assert not (tmp_path / "out.toml").exists()


def test_techniques_are_compared(case: Path) -> None:
    code, said = run("techniques", case, "--canal", "distal", *FEW)
    assert code == 0
    assert "cold lateral" in said
    assert "Not a certified medical device" in said
    _, said = run("techniques", case, "--canal", "distal", "--json", *FEW)
    assert [t["name"] for t in json.loads(said)["canals"][0]["techniques"]] == [
        "warm vertical",
        "single cone",
        "cold lateral",
    ]


def test_nonsense_options_are_told_without_a_traceback(case: Path) -> None:
    for arguments in (
        ["plan", case, "--rounds", "many"],
        ["measure", case, case, "--tooth", "46", "--file", "35", "--out", "x"],
    ):
        code, said = run(*arguments)
        assert code == 2
        assert "Traceback" not in said


def test_demo_runs_to_its_end(tmp_path: Path) -> None:
    code, said = run("demo", "--out", tmp_path / "demo", *FEW)
    assert code == 0
    names = {p.name for p in (tmp_path / "demo").iterdir()}
    assert {"case.toml", "results.json", "card-distal.pdf", "section-distal.svg", "heat-distal.svg"} <= names
    assert "invented" in said
    assert "canalwright serve" in said


def test_help_loads_no_heavy_library() -> None:
    """The command line answers at once: help imports neither the numerics nor the page."""
    code = (
        "import sys; from canalwright.cli.app import app; "
        "print([m for m in ('numpy', 'numba', 'scipy', 'nicegui', 'pydantic', 'SimpleITK') if m in sys.modules])"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert said.strip() == "[]"
