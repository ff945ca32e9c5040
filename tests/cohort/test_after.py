"""The check of a filling in a cohort: from two scan files and two points to columns; what cannot be checked says why."""

from pathlib import Path

import numpy as np
import pytest
import SimpleITK as sitk

from canalwright import casefile, planning
from canalwright.cohort.after import checked
from canalwright.cohort.job import CohortError
from canalwright.imaging.phantom.filling import Filling
from canalwright.imaging.phantom.pair import Artefact, pair
from canalwright.imaging.phantom.scan import CanalShape, RootShape, Scanner, make
from canalwright.imaging.volume import Scan
from canalwright.planning import Choices, Plan


@pytest.fixture(scope="module")
def plan() -> Plan:
    return planning.plan(casefile.demo_case().canals[0], casefile.generic_tray(), Choices(draws=64))


def _write(scan: Scan, path: Path) -> str:
    image = sitk.GetImageFromArray(np.asarray(scan.voxels, dtype=np.float32) * scan.slope + scan.intercept)
    image.SetSpacing([float(np.linalg.norm(scan.affine[:3, i])) for i in range(3)])
    image.SetOrigin([float(v) for v in scan.affine[:3, 3]])
    sitk.WriteImage(image, str(path))
    return str(path)


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, object]:
    folder = tmp_path_factory.mktemp("scans")
    shape = CanalShape(apical=0.5, taper=0.06, ratio=(1.1, 1.2), bend=8.0, curved=3.0, aside=(0.0, 0.0))
    made = make((shape,), RootShape(height=5.0, half=(1.0, 1.1), growth=0.03))
    shots = pair(made, Filling(0.8, 4.2), Scanner(voxel=0.12, blur=0.08, noise=60.0, oversample=2), Artefact(), 5)
    true = made.truth[0]
    low, high = (true.centre[int(np.argmin(np.abs(true.z - z)))] for z in (0.3, 4.4))
    return {
        "before": _write(shots.before, folder / "before.nrrd"), "after": _write(shots.after, folder / "after.nrrd"),
        "orifices": [[float(v) for v in high]], "termini": [[float(v) for v in low]], "basis": "micro-CT",
    }  # fmt: skip


def test_two_scans_give_the_end_of_the_filling_with_its_interval(told: dict[str, object], plan: Plan) -> None:
    row = checked(told, 0, plan)
    assert row["check_reason"] is None
    assert row["check_to_terminus"] == pytest.approx(0.8, abs=0.3)
    assert row["check_to_terminus_low"] <= row["check_to_terminus"] <= row["check_to_terminus_high"]
    assert row["check_grade"] in ("adequate", "inadequate", "uncertain")


def test_scans_that_do_not_fit_leave_a_reason(told: dict[str, object], plan: Plan, tmp_path: Path) -> None:
    noise = sitk.GetImageFromArray(np.random.default_rng(1).normal(500, 300, (40, 40, 40)).astype(np.float32))
    sitk.WriteImage(noise, str(tmp_path / "noise.nrrd"))
    row = checked({**told, "after": str(tmp_path / "noise.nrrd")}, 0, plan)
    assert set(row) == {"check_reason"} and row["check_reason"] and "\n" not in row["check_reason"]


def test_no_scan_after_no_columns_and_a_canal_too_many_is_refused(told: dict[str, object], plan: Plan) -> None:
    assert checked({}, 0, plan) == {}
    with pytest.raises(CohortError, match="shows 1 canals"):
        checked(told, 1, plan)
