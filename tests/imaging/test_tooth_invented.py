"""One click in an invented tooth, on every machine: its canal to its end, its surface, all of it as files; where a hollow ends."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from canalwright.imaging import ImagingError, measure_tooth
from canalwright.imaging.exports.folder import KINDS, export
from canalwright.imaging.tooth.ends import SHORTEST, dead_ends
from canalwright.imaging.viewing.outer import tooth_surfaces
from tests.imaging.scans import phantom, scan_of


@cache
def click() -> np.ndarray:
    """In the dentine, half a millimetre beside the canal."""
    true = phantom(1).truth[0]
    return np.asarray(true.centre[60] + true.axis[60] * (true.major[60] / 2 + 0.5))


@cache
def found():  # type: ignore[no-untyped-def]
    return measure_tooth(scan_of(1), tuple(click()))


def test_a_click_finds_the_canal_and_its_end() -> None:
    true = phantom(1).truth[0]
    assert len(found().canals) == len(phantom(1).truth)
    canal = found().canals[0]
    assert np.linalg.norm(canal.lumen.centre[0] - true.terminus) < 0.6
    assert canal.name == "canal 1"


def test_the_surface_holds_the_click_at_three_sizes() -> None:
    surfaces = tooth_surfaces(found().tooth)
    assert [len(s.faces) for s in surfaces] == sorted((len(s.faces) for s in surfaces), reverse=True)
    for one in surfaces:
        assert np.all(one.vertices.min(0) < click()) and np.all(one.vertices.max(0) > click())
        assert one.faces.max() < len(one.vertices)


def test_all_that_was_found_is_written_once(tmp_path: Path) -> None:
    kinds = [k for k in KINDS if k != "seg"]
    made = export(tmp_path / "out", found().canals, kinds, scan=found().scan, tooth=found().tooth)
    assert len(made) == len({p.name for p in made}) and all(p.stat().st_size > 0 for p in made)
    assert {"labels.nii.gz", "labels.txt", "tooth.stl", "pulp.stl", "canal-1.csv", "canal-1.json"} <= {
        p.name for p in made
    }
    with pytest.raises(ImagingError, match="not an empty folder"):
        export(tmp_path / "out", found().canals, ["csv"])
    with pytest.raises(ImagingError, match="allowed"):
        export(tmp_path / "other", found().canals, ["exe"])
    with pytest.raises(ImagingError, match="labels need a scan"):
        export(tmp_path / "other", found().canals, ["nii"])


def _hollow(*ways: tuple[int, int]) -> np.ndarray:
    """Distance from the roof in a trunk 2 mm long with branches of (column, length in cells of 0.2 mm) below it; else infinite."""
    far = np.full((5, 41, 60), np.inf)
    trunk = 10
    far[2, 20, :trunk] = 0.2 * np.arange(trunk)
    for column, length in ways:
        step = 1 if column > 20 else -1
        for n in range(abs(column - 20) + 1):
            far[2, 20 + step * n, trunk] = 0.2 * (trunk + n)
        start = far[2, column, trunk]
        far[2, column, trunk : trunk + length] = start + 0.2 * np.arange(length)
    return far


def test_every_branch_that_is_long_enough_is_a_dead_end() -> None:
    enough = int(SHORTEST / 0.2) + 8
    ends = dead_ends(_hollow((10, enough), (30, enough + 5)))
    assert sorted(end[1] for end in ends) == [10, 30]
    assert max(end[2] for end in ends) == 10 + enough + 5 - 1
    ends = dead_ends(_hollow((10, enough), (24, 2)))
    assert [end[1] for end in ends] == [10], "a bay of the wall is no canal"
