"""`ready`: the verdict in words and as JSON, exit codes, bad input in one line."""

import json
from importlib.resources import files
from pathlib import Path

import pytest

from canalwright import casefile
from canalwright.cli import main
from canalwright.planning.product import CAUTION
from tests.support import film


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


def test_details_say_what_stands_behind(demo, capsys):
    """Next measurement, trade-off, files and contact times, in words and as JSON."""
    assert run("ready", str(demo), "--canal", "distal", "--details") == 0
    out = capsys.readouterr().out
    assert (
        "would narrow the length" in out
        and "(yours)" in out
        and "45/0.06 cuts along" in out
        and "hypochlorite, 750 s" in out
    )
    assert run("ready", str(demo), "--canal", "distal", "--details", "--json") == 0
    (found,) = json.loads(capsys.readouterr().out)["readiness"]
    assert [f["file"] for f in found["files"]] == ["20/0.04", "35/0.04", "45/0.06"]
    assert sum(o["present"] for o in found["shape"]) == 1 and found["contact_times"][0]["solution"] == "hypochlorite"


def _marks(path: Path, drawn: film.Film, *, pair_only: bool = False) -> Path:
    rows = {"pair": [list(p) for p in drawn.pair]}
    if not pair_only:
        rows |= {
            "known": [list(p) for p in (drawn.known[0], *drawn.known[2:], drawn.known[1])], "reference": list(drawn.cusp),
            "canal": [list(p) for p in drawn.canal], "terminus": list(drawn.terminus),
        }  # fmt: skip
    text = "\n".join(f"{key} = {value}" for key, value in rows.items())
    path.write_text(text if pair_only else f"known_mm = {film.FILE}\n{text}\n", encoding="utf-8")
    return path


def test_a_marked_film(tmp_path, capsys):
    """The length, the curve and the second canal of an invented film come out within their intervals."""
    first, second = film.film(), film.film(tube=100.0)
    arguments = [str(first.save(tmp_path / "a.png")), str(_marks(tmp_path / "a.toml", first))]
    other = [str(second.save(tmp_path / "b.tiff")), str(_marks(tmp_path / "b.toml", second, pair_only=True))]
    assert (
        run("radiograph", *arguments, "--second", other[0], "--second-marks", other[1], "--angle", "19", "--json") == 0
    )
    found = json.loads(capsys.readouterr().out)
    for name, truth in (("tooth length", 21.0), ("radius of Pruett", 12.0), ("angle of Pruett", 38.2)):
        number = found["numbers"][name]
        assert number["low"] <= truth <= number["high"], name
    second_canal = found["second_canal"]
    assert (
        second_canal["side"] == "buccal" and second_canal["apart"]["low"] <= film.APART <= second_canal["apart"]["high"]
    )
    assert run("radiograph", *arguments) == 0
    assert 'method = "radiograph", value_mm = 21.0' in capsys.readouterr().out


def test_a_film_or_mark_that_cannot_be_is_one_line(tmp_path, capsys):
    drawn = film.film()
    picture, marks = drawn.save(tmp_path / "a.png"), _marks(tmp_path / "a.toml", drawn)
    for text, words in (
        ("pair = [[1, 2], [9000, 2]]", "outside the picture"),
        ("mood = 1", "mood"),
        ("known = [1, 2]", "pair of numbers"),
    ):
        marks.write_text(text, encoding="utf-8")
        assert run("radiograph", str(picture), str(marks)) == 2
        error = capsys.readouterr().err.strip()
        assert words in error and "\n" not in error and "Traceback" not in error


def test_uses_are_counted_by_file(tmp_path, capsys):
    """One size gets a count of its own, comments stay, and a full count says to discard it."""
    text = files("canalwright.casefile").joinpath("generic_tray.toml").read_text(encoding="utf-8")
    path = tmp_path / "tray.toml"
    path.write_text(text + "\n# mine\n[[file]]\nsizes = [30, 35]\ntaper = 0.06\nmost_uses = 3\n", encoding="utf-8")
    assert run("count", str(path), "35/0.06", "--canals", "2") == 0
    assert "2 canals; 1 left" in capsys.readouterr().out
    assert run("count", str(path), "35/0.06") == 0
    assert "discard it" in capsys.readouterr().out
    counted = {f.name: f.uses for f in casefile.load_tray(path).files}
    assert counted == {"30/0.06": None, "35/0.06": 3} and "# mine" in path.read_text(encoding="utf-8")
    assert run("count", str(path), "40/0.06") == 2
    assert "30/0.06" in capsys.readouterr().err
