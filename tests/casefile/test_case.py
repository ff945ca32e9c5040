"""Protects: a case file becomes the canals it describes, and is written and read again without loss."""

import os
import stat
from pathlib import Path

import pytest

from canalwright import casefile
from canalwright.anatomy import Tooth
from canalwright.quantities import Origin

SMALLEST = """
[case]
version = 1
label = "T-1"
[tooth]
number = 46
[[canal]]
name = "MB"
working_length_mm = 20.5
finishing_file = { size = 30, taper = 0.04 }
"""


def test_a_handful_of_keys_is_enough() -> None:
    case = casefile.loads(SMALLEST)
    assert case.tooth == Tooth(46)
    canal = case.canal("MB")
    assert canal is case.canals[0]
    assert canal.name == "mesiobuccal"
    assert canal.sources["wall_mm"].origin is Origin.AVERAGE
    assert canal.file.name == "30/0.04"


def test_a_universal_number_names_the_same_tooth() -> None:
    universal = SMALLEST.replace("number = 46", 'number = 30\nnotation = "universal"')
    assert casefile.loads(universal).tooth == Tooth(46)


def test_canals_that_were_not_found_are_a_doubt() -> None:
    assert "mesiolingual, distal" in casefile.loads(SMALLEST).doubts[0].message
    assert casefile.demo_case().doubts == ()


def test_an_unknown_canal_is_named_with_those_there_are() -> None:
    with pytest.raises(KeyError, match="there are mesiobuccal, mesiolingual, distal"):
        casefile.demo_case().canal("palatal")


def test_the_demo_is_marked_invented_and_shows_what_it_should() -> None:
    """Three canals, one curved in two planes, one oval with a lateral canal and a post."""
    case = casefile.demo_case()
    assert case.model.case.invented
    assert case.tooth == Tooth(46)
    mesiobuccal, mesiolingual, distal = case.canals
    assert abs(mesiobuccal.native.centre[:, 0]).max() > 1
    assert abs(mesiobuccal.native.centre[:, 1]).max() > 0.4
    assert (distal.native.major / distal.native.minor).max() > 2
    assert distal.post
    assert not mesiobuccal.post
    assert len(distal.portals) == 1
    assert mesiolingual.sources["wall_mm"].origin is Origin.AVERAGE
    assert all(canal.notes == () for canal in case.canals)


def test_diameters_by_mm_stand_for_a_file_of_varied_taper() -> None:
    varied = SMALLEST.replace("{ size = 30, taper = 0.04 }", "{ diameters_by_mm = [[0, 0.3], [4, 0.56], [16, 1.0]] }")
    file = casefile.loads(varied).canals[0].file
    assert float(file.profile(2.0)) == pytest.approx(0.43)
    assert file.size is None


def test_written_and_read_again_is_the_same_case(tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    case = casefile.demo_case()
    casefile.dump(case, path)
    again = casefile.load(path)
    assert again.digest == case.digest
    assert again.canals[0].native.centre == pytest.approx(case.canals[0].native.centre)
    assert "# Distance from the reference point to the end of the preparation" in path.read_text()


def test_the_digest_is_of_the_content() -> None:
    """Comments, order and the way a number is written don't count; a value does."""
    reordered = SMALLEST.replace("working_length_mm = 20.5", "# measured twice\nworking_length_mm = { value = 20.50 }")
    assert casefile.loads(reordered).digest == casefile.loads(SMALLEST).digest
    assert casefile.loads(SMALLEST.replace("20.5", "20.6")).digest != casefile.loads(SMALLEST).digest


def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A power cut between writing and renaming: the old case is whole."""
    path = tmp_path / "case.toml"
    casefile.dump(casefile.loads(SMALLEST), path)
    before = path.read_bytes()

    def cut(*_: object) -> None:
        raise OSError("no power")

    monkeypatch.setattr(os, "fsync", cut)
    with pytest.raises(OSError, match="no power"):
        casefile.dump(casefile.demo_case(), path)
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX systems")
def test_a_case_can_be_read_by_its_owner_alone(tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    casefile.dump(casefile.demo_case(), path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
