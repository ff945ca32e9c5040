"""Protects `canalwright heat3d`: JSON with intervals and caution, a film, and refusals in one line."""

import json
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from canalwright.cli.app import main
from tests.imaging.tooth_meshes import Tube

DEMO = str(files("canalwright.casefile") / "demo_case.toml")


def write(path: Path, vertices: np.ndarray, faces: np.ndarray) -> Path:
    """A mesh as OBJ."""
    lines = [f"v {x:.5f} {y:.5f} {z:.5f}" for x, y, z in vertices] + [f"f {a + 1} {b + 1} {c + 1}" for a, b, c in faces]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_one_canal_in_three_dimensions(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    film = tmp_path / "film.png"
    given = [
        "heat3d",
        DEMO,
        "--canal",
        "mesiobuccal",
        "--quick",
        "--json",
        "--runs",
        "8",
        "--walls",
        "0=1.0,90=0.7,180=1.0,270=2.0",
    ]
    with pytest.raises(SystemExit) as ended:
        main([*given, "--animation", str(film)])
    assert ended.value.code == 0
    (told,) = json.loads(capsys.readouterr().out)["heat3d"]
    rise = told["root_surface"]["rise_k"]
    assert rise["low"] < rise["value"] < rise["high"]
    for number in (told["bone"]["rise_k"], told["root_surface"]["above_47_s"], told["root_surface"]["cem43_min"]):
        assert number["low"] <= number["value"] <= number["high"]
    assert told["longest_safe_activation_s"]["low"] < told["longest_safe_activation_s"]["high"]
    assert sum(told["root_surface"]["heated_by_act_in_runs"].values()) == pytest.approx(1.0)
    assert "Not a certified medical device" in told["caution"]
    assert 45 < told["root_surface"]["direction_deg"] < 135
    with Image.open(film) as picture:
        assert picture.n_frames > 20


def test_surfaces_in_which_a_case_was_measured(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The case of a mesh, then its heat in that mesh; a mesh that lies elsewhere is refused by name."""
    tube = Tube()
    inner, outer = (write(tmp_path / n, *m) for n, m in (("lumen.obj", tube.lumen()), ("dentine.obj", tube.dentine())))
    case, shape = str(tmp_path / "case.toml"), ["--lumen", str(inner), "--dentine", str(outer)]
    with pytest.raises(SystemExit):
        main(["measure", str(inner), str(outer), "--out", case, "--tooth", "11", "--file", "45/0.06"])
    capsys.readouterr()
    with pytest.raises(SystemExit) as ended:
        main(["heat3d", case, "--quick", "--json", "--runs", "8", *shape])
    assert ended.value.code == 0
    (told,) = json.loads(capsys.readouterr().out)["heat3d"]
    assert 0.5 < told["root_surface"]["rise_k"]["value"] < 30
    with pytest.raises(SystemExit) as ended:
        main(["heat3d", DEMO, "--canal", "distal", *shape])
    assert ended.value.code == 2
    assert "dentine.obj, canal distal" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--walls", "0=thin"], "DEG=MM"),
        (["--walls", "0=-1"], "DEG=MM"),
        (["--neighbour", "near"], "MM,DEG"),
        (["--lumen", "lumen.stl"], "go together"),
        (["--labels", "a.nii", "--scan", "b.nii"], "one of them"),
        (["--scan", "a.nii", "--walls", "0=1"], "leave them out"),
        (["--lumen", "lumen.stl", "--dentine", "dentine.stl"], "lumen.stl"),
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
