"""`correct` keeps corrections in a file: adds, lists, undoes, and says in one line what cannot be."""

import json
from pathlib import Path

from typer.testing import CliRunner

from canalwright import casefile
from canalwright.cli.app import app

ADD = ["--canal", "distal", "--author", "A. Reader", "--reason", "ends short"]


def run(*args: str):  # type: ignore[no-untyped-def]
    return CliRunner().invoke(app, ["correct", *args])


def test_corrections_are_added_listed_and_undone(tmp_path: Path) -> None:
    log = tmp_path / "log.toml"
    assert run(str(log), "--add", "move terminus", "--point", "1,2,-3.5", *ADD).exit_code == 0
    second = run(str(log), "--add", "barrier", "--point", "1,2,3", "--radius", "0.8", "--normal", "0,0,1", *ADD)
    assert second.exit_code == 0
    assert "2. barrier (distal): ends short (A. Reader," in second.stdout
    kept = casefile.load_corrections(log)
    assert [c.points for c in kept] == [((1.0, 2.0, -3.5),), ((1.0, 2.0, 3.0),)]
    assert run(str(log), "--undo").exit_code == 0
    told = json.loads(run(str(log), "--json").stdout)
    assert [c["kind"] for c in told["corrections"]] == ["move terminus"]
    assert casefile.load_corrections(log) == kept[:1]


def test_what_cannot_be_leaves_the_file_as_it_was(tmp_path: Path) -> None:
    log = tmp_path / "log.toml"
    run(str(log), "--add", "move terminus", "--point", "1,2,-3.5", *ADD)
    before = log.read_bytes()
    for wrong in (["--add", "move everything"], ["--add", "barrier", "--point", "1,2,3"], ["--add", "remove portal"]):
        assert run(str(log), *wrong, *ADD).exit_code != 0
        assert log.read_bytes() == before
