"""Protects: `check` from a film and from two scans says where the filling ends and what was not seen; its labels come back."""

import json
from dataclasses import replace
from pathlib import Path

import highdicom
import numpy as np
import pytest
from typer.testing import CliRunner

from canalwright import casefile
from canalwright.assessment.scan import NAMES
from canalwright.cli import main
from canalwright.cli.app import app
from canalwright.imaging.phantom.filling import Filling
from canalwright.imaging.phantom.pair import CONE_BEAM, pair
from canalwright.imaging.phantom.scan import CanalShape, RootShape, Scanner, make
from tests.assessment import demo
from tests.imaging.dicom_files import write_series

VOXEL = 0.2


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "case.toml"
    path.write_text(casefile.dumps(casefile.demo_case()), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    folder, shot = tmp_path_factory.mktemp("film"), demo.radiograph()
    demo.write(shot, folder / "after.png")
    (folder / "marks.json").write_text(json.dumps(demo.marks(shot)), encoding="utf-8")
    return folder / "after.png", folder / "marks.json"


@pytest.fixture(scope="module")
def scans(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, str, str]:
    """Two DICOM series of an invented root, filled from 1.0 mm short of its terminus to 5 mm, moved in between; orifice and terminus."""
    shape = CanalShape(apical=0.6, taper=0.08, ratio=(1.1, 1.2), bend=8.0, curved=3.0, aside=(0.0, 0.0))
    made = make((shape,), RootShape(height=6.0, half=(1.3, 1.5), growth=0.06))
    scanner = Scanner(voxel=VOXEL, blur=0.12, noise=60.0, oversample=2)
    shots = pair(made, Filling(1.0, 5.0), scanner, replace(CONE_BEAM, bloom=0.05), 5)
    folder = tmp_path_factory.mktemp("scans")
    for name, seen in (("before", shots.before), ("after", shots.after)):
        low = seen.affine[:3, 3]
        write_series(
            folder / name, np.rint(seen.array).astype(np.int16), step=VOXEL, spacing=(VOXEL, VOXEL),
            series=f"1.2.3.{7 if name == 'before' else 8}", origin=(low[0], low[1], low[2]),
        )  # fmt: skip
    centre = made.truth[0].centre
    orifice, terminus = (",".join(f"{v:.2f}" for v in p) for p in (centre[-6], centre[0]))
    return folder / "before", folder / "after", orifice, terminus


def _run(*arguments: object) -> str:
    found = CliRunner().invoke(app, ["check", *(str(a) for a in arguments)], catch_exceptions=False)
    assert found.exit_code == 0, found.output
    return found.output


def test_from_a_film_in_words(case: Path, film: tuple[Path, Path]) -> None:
    said = _run(case, "--canal", "distal", "--film", film[0], "--marks", film[1])
    assert "filling ends 0.7 mm short of the terminus" in said
    assert "no spacing that can be trusted" not in said, "it was scaled by a known instrument"
    assert "not seen, which is not the same as absent" in said
    assert "end of the filling, short of the terminus: planned" in said
    assert said.rstrip().endswith("Not a certified medical device.")


def test_from_two_scans_with_labels_that_come_back(
    case: Path, scans: tuple[Path, Path, str, str], tmp_path: Path
) -> None:
    before, after, orifice, terminus = scans
    out = tmp_path / "fill.dcm"
    said = _run(
        case, "--canal", "distal", "--before", before, "--after", after, "--orifice", orifice, "--terminus", terminus,
        "--export", out, "--json",
    )  # fmt: skip
    told = json.loads(said)["assessment"]
    assert told["to_terminus"]["low"] <= 1.0 <= told["to_terminus"]["high"]
    assert told["stations"][0]["unfilled"]["value"] > 0.5 > told["stations"][5]["unfilled"]["value"]
    assert told["not_seen"][0].startswith("voids smaller than")

    back = highdicom.seg.segread(out)
    assert [s.segment_label for s in back.SegmentSequence] == list(NAMES)
    assert back.SegmentationType == "BINARY" and back.PatientName == ""
    assert back.ReferencedSeriesSequence[0].SeriesInstanceUID == "1.2.3.7"
    filled = back.get_volume(segment_numbers=[2]).array > 0
    tall = np.flatnonzero(filled.any(axis=tuple(range(1, filled.ndim))))
    assert (len(tall)) * VOXEL == pytest.approx(4.0, abs=0.6), "the filling is 4 mm long"


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (("--film", "x.png"), "--marks = none: allowed a JSON file of marks"),
        (("--before", "x.nii"), "--after = none: allowed a scan"),
        (("--before", "x.nii", "--after", "y.nii"), "--orifice = none: allowed three numbers"),
        ((), "images = none"),
    ],
    ids=["film alone", "one scan", "no places", "nothing"],
)
def test_what_is_missing_is_told_in_one_line(
    case: Path, given: tuple[str, ...], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as left:
        main(["check", str(case), "--canal", "distal", *given])
    said = capsys.readouterr().err.strip().splitlines()
    assert left.value.code == 2 and told in said[-1]
