"""Protects: `measure` takes a user from a scan, a mask or the surfaces of a real tooth to a case that plans, and refuses the rest."""

import json
from pathlib import Path

import numpy as np
import pytest
import SimpleITK as sitk
import tifffile
from typer.testing import CliRunner

from canalwright import casefile
from canalwright.cli import main
from canalwright.cli.app import app
from canalwright.imaging import ImagingError, Scan
from canalwright.imaging.phantom import scan as phantom
from tests.imaging.dicom_files import write_series
from tests.support.shared_data import shared_data


def run(*arguments: str | Path) -> str:
    result = CliRunner().invoke(app, [str(a) for a in arguments], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


def write(scan: Scan, path: Path, voxels: np.ndarray | None = None) -> Path:
    image = sitk.GetImageFromArray(np.asarray(scan.voxels if voxels is None else voxels))
    image.SetSpacing([float(s) for s in scan.spacing])
    image.SetOrigin([float(v) for v in scan.affine[:3, 3]])
    image.SetDirection((scan.affine[:3, :3] / np.asarray(scan.spacing)).ravel().tolist())
    sitk.WriteImage(image, str(path))
    return path


@pytest.fixture(scope="module")
def made() -> tuple[phantom.Phantom, Scan]:
    tooth = phantom.make([phantom.CanalShape(apical=0.4, taper=0.06, bend=15.0)], phantom.RootShape())
    return tooth, phantom.render(tooth, phantom.Scanner(voxel=0.15), seed=4)


def point(p: np.ndarray) -> str:
    return ",".join(f"{v:.3f}" for v in p)


def test_a_scan_becomes_a_case_that_plans(made: tuple[phantom.Phantom, Scan], tmp_path: Path) -> None:
    tooth, scan = made
    truth = tooth.truth[0]
    top = len(truth.z) - 6
    path, out = write(scan, tmp_path / "scan.nrrd"), tmp_path / "case.toml"
    said = run(
        "measure", path, "--orifice", point(truth.centre[top]), "--terminus", point(truth.centre[0]), "--tooth", "11",
        "--file", "45/0.04", "--out", out, "--name", "single", "--json",
    )  # fmt: skip
    found = json.loads(said)["canals"][0]
    assert found["length_mm"] == pytest.approx(float(truth.z[top]), abs=0.5)
    canal = casefile.load(out).canals[0]
    at = np.linspace(2, float(truth.z[top]) - 2, 9)
    got, real = np.interp(at, canal.native.z, canal.native.minor), np.interp(at, truth.z, truth.minor)
    assert np.median(np.abs(got - real)) < 0.25 * 0.15, "least width within a quarter of a voxel, by the median station"
    assert canal.sources["widths"].origin.value == "read from scan"
    assert json.loads(run("plan", out, "--json", "--draws", "64"))["plans"]


def test_one_click_in_a_series_makes_a_case_and_files_for_other_programs(
    made: tuple[phantom.Phantom, Scan], tmp_path: Path
) -> None:
    """The clinician's way: a folder from the scanner, one point, no orifice and no terminus; the patient's name stays out."""
    tooth, scan = made
    truth = tooth.truth[0]
    turn = (scan.affine[:3, :3] / scan.spacing).T
    grey = np.round((np.asarray(scan.voxels, float) + 1000) / 2).astype(np.int16)
    x, y, z = (float(v) for v in scan.affine[:3, 3])
    sides = (float(scan.spacing[1]), float(scan.spacing[0]))
    write_series(
        tmp_path / "series",
        grey,
        step=float(scan.spacing[2]),
        spacing=sides,
        turn=tuple(turn[:2].ravel()),
        origin=(x, y, z),
    )
    out, files = tmp_path / "case.toml", tmp_path / "files"
    click = truth.centre[70] + truth.axis[70] * (truth.major[70] / 2 + 0.5)
    said = run(
        "measure", tmp_path / "series", "--click", point(click), "--tooth", "11", "--file", "45/0.04", "--out", out,
        "--export", files, "--kinds", "stl,csv,json,nii,seg",
    )  # fmt: skip
    assert "not a certified medical device" in said.lower() and "Vertucci type I" in said
    case = casefile.load(out)
    (canal,) = case.canals
    assert float(canal.native.z[-1]) > 8.0
    at = np.linspace(2, 7, 9)
    got, real = np.interp(at, canal.native.z, canal.native.minor), np.interp(at, truth.z, truth.minor)
    assert np.median(np.abs(got - real)) < 0.25 * 0.15, "least width within a quarter of a voxel, by the median station"
    assert "Invented" not in out.read_text() and "CT of" in out.read_text()
    assert {p.name for p in files.iterdir()} >= {
        "single.stl", "tooth.stl", "pulp.stl", "single.csv", "single.json", "labels.nii.gz", "labels.txt", "labels.dcm",
    }  # fmt: skip
    with pytest.raises(ImagingError, match="not an empty folder"):
        run(
            "measure", tmp_path / "series", "--orifice", point(truth.centre[80]), "--terminus", point(truth.centre[0]),
            "--tooth", "11", "--file", "45/0.04", "--out", out, "--export", files,
        )  # fmt: skip


def test_the_first_molar_goes_from_its_surfaces_to_three_cards(tmp_path: Path) -> None:
    """The main job on a real lower first molar: three canals, names from the direction of mesial, a card for each."""
    parts = [shared_data("mandible_teeth", f"Tooth_L6_{part}.stl") for part in ("Pulp", "Dentin", "Enamel")]
    out = tmp_path / "molar.toml"
    run("measure", parts[0], parts[1], "--enamel", parts[2], "--tooth", "36", "--file", "30/0.04", "--out", out)
    assert len(casefile.load(out).canals) == 3
    said = run("card", out, "--out", tmp_path / "cards", "--draws", "64")
    assert said.count("wrote") == 3
    assert len(list((tmp_path / "cards").glob("*.pdf"))) == 3


@pytest.mark.parametrize(
    ("extra", "words"),
    [
        (["--orifice", "1,2"], "three numbers"),
        (["--orifice", "500,500,500", "--terminus", "500,500,510"], "outside"),
        (["--orifice", "1,2,3"], "give --orifice and --terminus"),
        (["--click", "500,500,500"], "outside"),
        (["--click", "0,0,5", "--orifice", "0,0,0", "--terminus", "0,0,5"], "either one point in the tooth"),
        (["--voxel", "0.2,0.3", "--click", "0,0,5"], "one number in mm"),
        (["--voxel", "0.2,0.2,-1", "--click", "0,0,5"], "three above 0"),
        (["--voxel", "0.2,0.2,0.3", "--orifice", "0,0,0", "--terminus", "0,0,5"], "states its own"),
        (["--voxel", "0.2", "--orifice", "0,0,0", "--terminus", "0,0,5"], "states its own"),
    ],
)
def test_what_cannot_be_measured_is_refused(
    made: tuple[phantom.Phantom, Scan], tmp_path: Path, capsys: pytest.CaptureFixture[str], extra: list[str], words: str
) -> None:
    path, out = write(made[1], tmp_path / "scan.nrrd"), tmp_path / "case.toml"
    with pytest.raises(SystemExit) as stop:
        main(["measure", str(path), "--tooth", "11", "--file", "45/0.04", "--out", str(out), *extra])
    assert stop.value.code == 2
    assert words in capsys.readouterr().err.replace("\n", " ").replace("│", "")
    assert not out.exists()


def test_pictures_take_a_voxel_size_for_each_axis(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Along a row, down the rows, from slice to slice: told by where the volume is said to end."""
    tifffile.imwrite(tmp_path / "stack.tif", np.zeros((40, 20, 30), np.uint16), photometric="minisblack")
    with pytest.raises(SystemExit):
        main(
            ["measure", str(tmp_path / "stack.tif"), "--voxel", "0.1,0.2,0.3", "--click", "50,50,50", "--tooth", "11",
             "--file", "45/0.04", "--out", str(tmp_path / "case.toml")]
        )  # fmt: skip
    said = " ".join(capsys.readouterr().err.replace("│", " ").split())
    assert "(0, 0, 0) to (2.9, 3.8, 11.7)" in said
