"""Protects `canalwright heat3d`: JSON with intervals and caution, a film, and refusals in one line."""

import json
from importlib.resources import files
from pathlib import Path

import pytest
from PIL import Image

from canalwright.cli.app import main

DEMO = str(files("canalwright.casefile") / "demo_case.toml")


def test_one_canal_in_three_dimensions(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    film = tmp_path / "film.png"
    given = ["heat3d", DEMO, "--canal", "mesiobuccal", "--quick", "--json", "--walls", "0=1.0,90=0.7,180=1.0,270=2.0"]
    with pytest.raises(SystemExit) as ended:
        main([*given, "--animation", str(film)])
    assert ended.value.code == 0
    (told,) = json.loads(capsys.readouterr().out)["heat3d"]
    rise = told["root_surface"]["rise_k"]
    assert rise["low"] < rise["value"] < rise["high"]
    assert "Not a certified medical device" in told["caution"]
    assert 45 < told["root_surface"]["direction_deg"] < 135
    with Image.open(film) as picture:
        assert picture.n_frames > 20


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--walls", "0=thin"], "DEG=MM"),
        (["--walls", "0=-1"], "DEG=MM"),
        (["--animation", "film.mp4", "--canal", "distal"], ".gif"),
        (["--csv", "table.csv"], "--canal"),
        (["--canal", "nowhere"], "mesiobuccal"),
    ],
)
def test_refusals(options: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["heat3d", DEMO, *options])
    assert ended.value.code == 2
    assert said in capsys.readouterr().err
