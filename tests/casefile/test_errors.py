"""Protects: each wrong value is one line with file, key, value, allowed range and what to do; never a traceback."""

import tomllib
from pathlib import Path

import pytest

from canalwright import casefile
from canalwright.casefile.toml import LARGEST

TEXT = """
[case]
version = 1
label = "T-1"
[tooth]
number = 46
[[canal]]
name = "mesiobuccal"
working_length_mm = 20.5
finishing_file = { size = 30, taper = 0.04 }
[canal.curve]
angle_deg = 20
[[canal.side_branch]]
level_mm = 3.0
diameter_mm = 0.1
"""

WRONG = [
    ("working_length_mm = 20.5", "working_length_mm = 3",
     "x.toml: canal[0].working_length_mm = 3: allowed 8 to 40 mm; "
     "give the distance from the reference point to the end of the preparation"),
    ("working_length_mm = 20.5", "working_length_mm = 0.021",
     "x.toml: canal[0].working_length_mm = 0.021: allowed 8 to 40 mm; looks like metres: write 21"),
    ("working_length_mm = 20.5", "working_length_mm = 21000",
     "x.toml: canal[0].working_length_mm = 21000: allowed 8 to 40 mm; looks like micrometres: write 21"),
    ("working_length_mm = 20.5", 'working_length_mm = "20.5"',
     "x.toml: canal[0].working_length_mm = '20.5': allowed a number, or { value, method, error }; "
     "write a number without quotation marks"),
    ("working_length_mm = 20.5", "working_length_mm = nan",
     "x.toml: canal[0].working_length_mm.value = nan: allowed a finite number; "
     "nan and inf mean nothing here; leave the key out when it is not known"),
    ("working_length_mm = 20.5", 'working_length_mm = { value = 20.5, method = "guess" }',
     "x.toml: canal[0].working_length_mm.method = 'guess': allowed apex locator, radiograph, cone-beam scan, "
     "micro-CT, surface meshes, tactile, paper point, published average, assumed; name one of these, or leave it out"),
    ("working_length_mm = 20.5", "working_length_mm = 20.5\norifice_depth_mm = 21",
     "x.toml: canal[0].working_length_mm = 20.5: allowed more than the orifice depth, 21 mm; "
     "the terminus cannot lie coronal to the orifice: check which is which"),
    ("working_length_mm = 20.5", "working_length_mm = 20.5\nwall_mm = -0.5",
     "x.toml: canal[0].wall_mm = -0.5: allowed 0.05 to 6 mm; "
     "give the least thickness of dentine from canal to root surface"),
    ("working_length_mm = 20.5", "working_length_mm = 20.5\napical_guage = 30",
     "x.toml: canal[0].apical_guage; unknown key; did you mean 'apical_gauge'?"),
    ("working_length_mm = 20.5", "working_length_mm = 20.5\napical_gauge = 0.30",
     "x.toml: canal[0].apical_gauge = 0.3: allowed 6 to 140 (ISO size); looks like millimetres: write 30"),
    ("working_length_mm = 20.5", "",
     "x.toml: canal[0].working_length_mm; required and not there; add working_length_mm"),
    ("taper = 0.04", "taper = 0.6",
     "x.toml: canal[0].finishing_file.taper = 0.6: allowed 0 to 0.2 mm per mm; "
     "give the taper as a ratio: 0.04 for 4 %"),
    ("taper = 0.04", "taper = 4",
     "x.toml: canal[0].finishing_file.taper = 4: allowed 0 to 0.2 mm per mm; looks like per cent: write 0.04"),
    ("size = 30", "size = 33",
     "x.toml: canal[0].finishing_file.size = 33: allowed sizes of ISO 3630-1; "
     "size 33 is not in the ISO 3630-1 series; nearest are 30 and 35"),
    ("size = 30, ", "",
     "x.toml: canal[0].finishing_file.size = missing: allowed size and taper, or diameters_by_mm; add size"),
    ("angle_deg = 20", "angle_deg = 20\nradius_mm = 30\nstart_mm = 6",
     "x.toml: canal[0].curve.radius_mm = 30: allowed at most 8.6 mm; "
     "a curve that begins 6 mm from the terminus needs a radius of at most 8.6 mm"),
    ("angle_deg = 20", 'angle_deg = 20\nmeasure = "schnieder"',
     "x.toml: canal[0].curve.measure = 'schnieder': allowed 'schneider', 'weine' or 'pruett'; "
     "did you mean 'schneider'?"),
    ("diameter_mm = 0.1", "diameter_mm = 100",
     "x.toml: canal[0].side_branch[0].diameter_mm = 100: allowed 0.01 to 1.5 mm; looks like micrometres: write 0.1"),
    ("level_mm = 3.0", "level_mm = 21.0",
     "x.toml: canal[0].side_branch[0].level_mm = 21: allowed 0 to 20.5 mm; give the distance from the terminus"),
    ("number = 46", "number = 99",
     "x.toml: tooth.number = 99: allowed 11 to 18, 21 to 28, 31 to 38, 41 to 48; give a permanent tooth"),
    ("number = 46", "number = 30",
     "x.toml: tooth.number = 30: allowed 11 to 18, 21 to 28, 31 to 38, 41 to 48; "
     'if this is the Universal number of 46 (lower first molar, right), add notation = "universal"'),
    ("version = 1", "version = 2", "x.toml: case.version = 2; made by a newer canalwright; upgrade this one to open it"),
    ('label = "T-1"', 'label = ""', "x.toml: case.label: allowed at least 1 character(s); fill it in"),
    ('label = "T-1"', 'label = "T\\u001b[31m"',
     "x.toml: case.label = 'T\\x1b[31m': allowed printable text; take the control characters out"),
    ("number = 46", 'number = 46\n"\\u001b[31m\\n" = 1',
     "x.toml: tooth.'\\x1b[31m\\n': allowed notation, number; unknown key; take it out"),
    ("[tooth]", "[toot]", "x.toml: tooth; required and not there; add tooth"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "line"), WRONG, ids=[new or old for old, new, _ in WRONG])
def test_one_line_says_it_all(old: str, new: str, line: str) -> None:
    assert old in TEXT
    with pytest.raises(casefile.CaseError) as caught:
        casefile.loads(TEXT.replace(old, new, 1), "x.toml")
    assert line in str(caught.value).splitlines()


def test_one_wrong_value_gives_one_line() -> None:
    """No knock-on errors from a working length in the wrong unit."""
    with pytest.raises(casefile.CaseError) as caught:
        casefile.loads(TEXT.replace("20.5", "0.0205"), "x.toml")
    assert len(caught.value.problems) == 1


def test_all_that_is_wrong_is_said_at_once() -> None:
    text = TEXT.replace("20.5", "0.02").replace("angle_deg = 20", "angle_deg = 200").replace("0.1", "100")
    text = text.replace("taper = 0.04", "taper = 0.6")
    with pytest.raises(casefile.CaseError) as caught:
        casefile.loads(text, "x.toml")
    assert {p.key for p in caught.value.problems} == {
        "canal[0].finishing_file.taper", "canal[0].working_length_mm", "canal[0].curve.angle_deg", "canal[0].side_branch[0].diameter_mm",
    }  # fmt: skip


def test_a_canal_named_twice_is_refused() -> None:
    second = TEXT[TEXT.index("[[canal]]") :].replace("mesiobuccal", "MB")
    with pytest.raises(casefile.CaseError, match=r"canal\[1\]\.name = 'MB': allowed names that differ"):
        casefile.loads(TEXT + second, "x.toml")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"a = [\n", "x.toml: line 2, column 1|x.toml: end of document"),
        (b"[case]\nlabel = 20,5\n", r"x.toml: line 2, column 11 = 20,5; write a decimal point: 20\.5"),
        (b"a = { size = 35, taper = 0,06 }\n", r"x.toml: line 1, column \d+ = 0,06; write a decimal point: 0\.06"),
        (b"[case]\nlabel = ", r"x.toml: (line 2, column 9|end of document); the file seems to end early: .*"),
        (b"[case]\nlabel = 'a", r"x.toml: .*; the file seems to end early: .*"),
        (b"[case]\nfile = { size = 35, ", r"x.toml: .*; the file seems to end early: .*"),
        (b"[case]\nlab", r"x.toml: .*; the file seems to end early: .*"),
        (b"[case]\nlabel = 'a' 'b'\n", r"x.toml: line 2, column 13: allowed TOML; .* mend this line"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "allowed UTF-8 text"),
        (b"label\x00 = 1", "a binary file"),
        (b"", "required and not there"),
        (b"x = " + b"[" * 5000 + b"]" * 5000, "nested too deeply|mend"),
    ],
)
def test_what_is_not_toml_says_where(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "x.toml"
    path.write_bytes(content)
    with pytest.raises(casefile.CaseError, match=words):
        casefile.load(path)
    assert casefile.check(path)


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    with path.open("wb") as stream:
        stream.truncate(LARGEST * 5)
    (problem,) = casefile.check(path)
    assert str(problem) == "x.toml: size = 100 MB: allowed at most 20 MB; this is no case or tray file; name another"


def test_no_file_and_a_folder(tmp_path: Path) -> None:
    assert "there is no such file" in str(casefile.check(tmp_path / "none.toml")[0])
    assert "this is a folder" in str(casefile.check(tmp_path)[0])


PROFILE = """
[canal.profile]
method = "micro-CT"
z_mm = [0, 1, 5, 10]
minor_mm = [0.3, 0.3, 0.5, 0.9]
major_mm = [0.4, 0.4, 0.8, 1.2]
wall_mm = [0.5, 0.8, 1.0, 1.4]
centre_mm = [[0, 0, 0], [0, 0, 1], [0, 0, 5], [0, 0, 10]]
axis = [[0, 1, 0], [0, 1, 0], [0, 1, 0], [0, 1, 0]]
"""
PROFILED = TEXT[: TEXT.index("[canal.curve]")] + PROFILE


def test_a_profile_is_laid_on_stations() -> None:
    canal = casefile.loads(PROFILED).canals[0]
    assert canal.native.at(3.0, canal.native.minor) == pytest.approx(0.4)
    assert canal.errors["width"].error == 0.02


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("z_mm = [0, 1, 5, 10]", "z_mm = [0, 5, 1, 10]", r"canal\[0\]\.profile\.z_mm = .* start at 0 and increase"),
        ("z_mm = [0, 1, 5, 10]", "z_mm = [0, 1, 5, 10000]", "check the unit of the levels"),
        ("wall_mm = [0.5, 0.8, 1.0, 1.4]", "wall_mm = [0.5, 0.8]", "allowed 4 entries, as z_mm"),
        ("wall_mm = [0.5,", "wall_mm = [-0.5,", r"wall_mm = -0\.5 to 1\.4: allowed 0 to 12"),
        ("axis =", "width_error_mm = [0.1, 0.1]\naxis =", "one number, or 4 entries"),
        ("axis =", "width_error_mm = -0.1\naxis =", "width_error_mm"),
        ("major_mm = [0.4,", "major_mm = [0.2,", "at least minor_mm"),
        ("[0, 1, 0]]", "[0, 0, 0]]", "a row of zeros"),
        ("[0, 0, 10]]", "[0, 0, 5]]", "one point twice"),
        ("[0, 0, 10]]", "[0, 0]]", "4 rows of three numbers"),
    ],
)  # fmt: skip
def test_profiles_that_cannot_be(old: str, new: str, words: str) -> None:
    assert old in PROFILED
    with pytest.raises(casefile.CaseError, match=words):
        casefile.loads(PROFILED.replace(old, new), "x.toml")


def test_the_text_of_these_tests_is_a_good_case() -> None:
    tomllib.loads(TEXT)
    assert len(casefile.loads(TEXT).canals) == 1
