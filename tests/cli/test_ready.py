"""`ready`: the verdict in words and as JSON, exit codes, bad input in one line."""

import json
from importlib.resources import files
from pathlib import Path

import pytest

from canalwright.cli import main
from canalwright.planning.product import CAUTION


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    text = files("canalwright.casefile").joinpath("demo_case.toml").read_text(encoding="utf-8")
    path = tmp_path / "demo.toml"
    path.write_text(text, encoding="utf-8")
    return path


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    return int(ended.value.code or 0)


def test_in_words(demo, capsys):
    """Every canal, worst first, each number with its interval, the caution at the end."""
    assert run("ready", str(demo)) == 0
    out = capsys.readouterr().out
    assert out.count("Tooth 46") == 3 and CAUTION in out
    assert "constriction: 20." in out and "apical pressure" in out
    assert "NOT RECORDED: dryness" in out and "READY: length" in out


def test_as_json(demo, capsys):
    assert run("ready", str(demo), "--canal", "distal", "--json") == 0
    (found,) = json.loads(capsys.readouterr().out)["readiness"]
    assert found["canal"] == "distal" and found["caution"] == CAUTION
    names = [i["name"] for i in found["items"]]
    assert names == ["length", "shape", "file", "gauge", "needle", "contact time", "sequence", "dryness"]
    for item in found["items"]:
        for number in item["numbers"].values():
            assert number["low"] is None or number["low"] <= number["value"]
    assert found["length"]["agrees"] is True


def test_strict_ends_in_3_where_a_canal_is_not_ready(demo, capsys):
    text = demo.read_text(encoding="utf-8")
    assert run("ready", str(demo), "--canal", "distal", "--strict") == 0
    demo.write_text(
        text.replace('"apex locator", value_mm = 21.0', '"apex locator", value_mm = 16.0'), encoding="utf-8"
    )
    assert run("ready", str(demo), "--canal", "distal", "--strict") == 3
    assert "disagree" in capsys.readouterr().out


def test_bad_input_is_one_line(demo, capsys):
    text = demo.read_text(encoding="utf-8")
    demo.write_text(text.replace("size = 40, passes", "size = 41, passes"), encoding="utf-8")
    assert run("ready", str(demo)) == 2
    error = capsys.readouterr().err.strip()
    assert "gauges[0].size" in error and "\n" not in error and "Traceback" not in error
