"""A case packed on one machine is the same case on another, with what was done at the chair; what is there is never overwritten."""

import time
from pathlib import Path

import pytest
from typer.testing import CliRunner

from canalwright import casefile
from canalwright.cli.app import app
from canalwright.guide import Event
from canalwright.web.chairbook import Chairbook, Head


def run(*words: str | Path) -> tuple[int, str]:
    done = CliRunner().invoke(app, [str(w) for w in words])
    return done.exit_code, done.output


def test_a_case_goes_to_another_machine_and_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    case, monday, tuesday = casefile.demo_case(), tmp_path / "monday", tmp_path / "tuesday"
    file, packed, back = tmp_path / "molar.toml", tmp_path / "molar.zip", tmp_path / "back.toml"
    casefile.dump(case, file)
    monkeypatch.setenv("CANALWRIGHT_DATA", str(monday))
    began = Chairbook().new(Head(casefile.dumps(case), 0, "rounds=3", time.time()))
    Chairbook().append(began, Event("go", time.time(), text="note"))
    assert run("pack", file, "--out", packed, "--draws", "64")[0] == 0
    whole = packed.read_bytes()
    code, said = run("pack", file, "--out", packed)
    assert code == 2 and "left as it is" in said and packed.read_bytes() == whole
    monkeypatch.setenv("CANALWRIGHT_DATA", str(tuesday))
    code, said = run("unpack", packed, "--out", back)
    assert code == 0, said
    assert "1 sessions" in said
    assert casefile.load(back).digest == case.digest
    assert Chairbook().text(began) == Chairbook(monday / "chair").text(began)
    code, said = run("unpack", packed, "--out", back)
    assert code == 2
    assert "left as it is" in said
    assert "0 sessions" in run("unpack", packed, "--out", tmp_path / "again.toml")[1]
