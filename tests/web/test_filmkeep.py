"""A radiograph goes into a case's archive with its marks and comes back the same, without identity; a damaged one is told in one line."""

import io
import json
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from canalwright import casefile
from canalwright.imaging.errors import ScanError
from canalwright.imaging.radiograph.image import Film
from canalwright.imaging.radiograph.marks import Marks, read_marks
from canalwright.imaging.radiograph.shown import shown
from canalwright.web import archive, filmkeep
from canalwright.web.chairbook import Chairbook
from canalwright.web.radiographs import Radiographs, Use, load
from canalwright.web.shelf import Shelf
from tests.support import film
from tests.web.test_checks import a_check

DRAWN = film.film()
MARKS = Marks(tuple(DRAWN.known), 20.0, DRAWN.cusp, tuple(DRAWN.canal), DRAWN.terminus, tuple(DRAWN.pair))
USE = Use("distal", "measure", 1, "15", "left")


def _open(films: Radiographs, made: Film, case: str, use: Use = USE) -> str:
    key = films.put("Ada Invented.dcm", made, shown(made))
    films.mark(key, MARKS)
    films.belongs(key, case, use)
    return key


@pytest.mark.parametrize("kind", ["bytes", "words", "between"])
def test_what_was_marked_comes_back_and_says_the_same(kind: str, tmp_path: Path) -> None:
    drawn, _ = load(DRAWN.save(tmp_path / "film.png").read_bytes(), "a")
    grown = {"bytes": drawn.pixels, "words": drawn.pixels * 16, "between": drawn.pixels * 1.7 - 300}[kind]
    made = Film(grown.astype(np.float32), 0.05, ("a doubt",), "Ada Invented.dcm")
    films = Radiographs()
    key = _open(films, made, "k")
    picture, told = filmkeep.packed(dict(films.of(["k"]))[key])
    assert b"Ada" not in picture + told, "the name of a file may be that of a person"
    assert picture[24] == (8 if kind == "bytes" else 16)
    back = filmkeep.unpacked(picture, told, "radiograph 1")
    assert (back.marks, back.use) == (MARKS, USE)
    assert (back.film.spacing, back.film.warnings) == (0.05, ("a doubt",))
    span = float(np.ptp(made.pixels))
    assert np.abs(back.film.pixels - made.pixels).max() <= (span / 65535 if kind == "between" else 0)
    assert read_marks(back.film, back.marks) == read_marks(made, MARKS)


def test_films_follow_their_case_and_no_other(tmp_path: Path) -> None:
    made = Film(np.zeros((64, 64), np.float32), 0.05)
    films, shelf, case = Radiographs(), Shelf(), casefile.demo_case()
    text = casefile.dumps(case)
    first, other = shelf.put(case), shelf.put(casefile.loads(text.replace('label = "', 'label = "other ', 1)))
    key = films.put("a", made, shown(made))
    films.belongs(key, first, USE)
    later = shelf.put(casefile.loads(text.replace('label = "', 'label = "later ', 1)), instead_of=first)
    assert films.last(shelf.line(later), "distal", "measure", 1) == (key, USE)
    assert films.last(shelf.line(later), "distal", "check")[0] == ""
    assert films.of(shelf.line(other)) == []
    shelf.put(case, instead_of=later)
    assert set(shelf.line(first)) == {first, later}, "a change that was undone leads round in no circle"


def _archive(tmp_path: Path) -> tuple[bytes, Chairbook]:
    films, book = Radiographs(), Chairbook(tmp_path / "chair")
    made, _ = load(DRAWN.save(tmp_path / "film.png").read_bytes(), "a")
    _open(films, made, "k", Use("distal"))
    _open(films, made, "k")
    return archive.packed(casefile.demo_case(), [], book, films.of(["k"])), book


def test_both_films_come_back_out_of_the_archive_once(tmp_path: Path) -> None:
    data, book = _archive(tmp_path)
    back = archive.restored(data, "case.zip", book)
    assert [k.use for k in back.films] == [Use("distal"), USE]
    films = Radiographs()
    for _ in range(2):
        for k in back.films:
            films.back(k.film, k.picture, k.marks, "n", k.use)
    assert len(films.of(["n"])) == 2


def test_a_check_of_two_scans_lies_in_the_archive_with_its_labels(tmp_path: Path) -> None:
    check = replace(a_check(), labels=b"NRRD0004", segmentation=b"DICM")
    data = archive.packed(casefile.demo_case(), [], Chairbook(tmp_path / "chair"), checks=[check])
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        assert file.read("made/check-distal-labels.nrrd") == b"NRRD0004"
        assert file.read("made/check-distal-labels.dcm") == b"DICM"
        assert json.loads(file.read("made/check-distal.json")) == check.payload()


def test_a_damaged_film_is_told_in_one_line_and_nothing_is_taken_in(tmp_path: Path) -> None:
    data, book = _archive(tmp_path)
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        contents = {n: file.read(n) for n in file.namelist() if n.startswith("film/")}
    name = next(n.removesuffix(".png") for n in contents if n.endswith(".png"))
    picture, told = contents[f"{name}.png"], json.loads(contents[f"{name}.json"])
    wrong = [
        (picture[: len(picture) // 2], told),
        (b"", told),
        (picture, []),
        (picture, told | {"step": 0}),
        (picture, told | {"zero": float("nan")}),
        (picture, told | {"spacing_mm": "x"}),
        (picture, told | {"marks": {"canal": [[1e9, 1]]}}),
        (picture, told | {"use": told["use"] | {"slot": 7}}),
        (picture, {k: v for k, v in told.items() if k != "use"}),
    ]
    for cut, said in wrong:
        work = casefile.archive.Work(casefile.demo_case(), {}, {name[-16:]: (cut, json.dumps(said).encode())})
        with pytest.raises(casefile.CaseError) as raised:
            archive.restored(casefile.archive.pack(work, {}), "case.zip", book)
        assert str(raised.value).startswith("case.zip: radiograph 1: ") and "\n" not in str(raised.value)
    bomb = io.BytesIO()
    Image.new("1", (30_000, 30_000)).save(bomb, "PNG")
    with pytest.raises(ScanError, match="radiograph 1: "):
        filmkeep.unpacked(bomb.getvalue(), json.dumps(told).encode(), "radiograph 1")
