"""Films in the page: read and forgotten on disk, seen by their owner alone, marks kept, bad ones refused in one line."""

from pathlib import Path

import pytest

from canalwright.imaging.errors import ScanError
from canalwright.web import radiographs
from canalwright.web.guard import LONGER
from canalwright.web.radiographs import MOST_BYTES, PATH, Radiographs, load, marks_of, marks_told
from canalwright.web.reader import reads
from tests.support import film


@pytest.mark.parametrize("kind", ["png", "jpg", "tiff"])
def test_a_film_is_read_from_its_bytes(kind: str, tmp_path: Path) -> None:
    content = film.film().save(tmp_path / f"film.{kind}").read_bytes()
    made, picture = load(content, "mine")
    assert made.size == (film.ROWS, film.COLUMNS) and made.path == "mine" and picture.greys.shape == made.size


def test_what_is_no_film_is_told_by_the_name_it_came_with() -> None:
    for content in (b"", b"hello", b"\x89PNG\r\n\x1a\nno", b"II*\0no", b"\0" * 128 + b"DICMno"):
        with pytest.raises(ScanError) as caught:
            load(content, "mine.png")
        assert (
            str(caught.value).startswith("mine.png: ")
            and "/" not in str(caught.value).split(":")[0]
            and "\n" not in str(caught.value)
        )


def test_only_its_reader_sees_a_film(tmp_path: Path) -> None:
    films = Radiographs(most=2)
    made, picture = load(film.film().save(tmp_path / "a.png").read_bytes(), "a")
    reads("one")
    key = films.put("a", made, picture)
    reads("another")
    assert films.get(key) is None and films.mark(key, marks_of({})) is None
    reads("one")
    marks = {
        "known": [[1, 2], [3, 4]],
        "known_mm": "20,5",
        "reference": [5, 6],
        "terminus": None,
        "canal": [[7, 8]],
        "pair": [],
    }
    films.mark(key, marks_of(marks))
    kept = films.get(key)
    assert kept is not None and marks_told(kept.marks).items() >= (marks | {"known_mm": "20.5"}).items()
    for _ in range(2):
        films.put("b", made, picture)
    assert films.get(key) is None, "the oldest goes when there are too many"
    reads("")


def test_marks_that_are_none_are_refused() -> None:
    for told in ({"known": [[1]]}, {"canal": [["a", 2]]}, {"pair": [[1, 1]] * 3}, {"canal": [[1, 1]] * 99}):
        with pytest.raises((ValueError, TypeError)):
            marks_of(told)
    with pytest.raises(ScanError, match="as a number in mm"):
        marks_of({"known_mm": "twenty"})


def test_the_guard_lets_a_film_in() -> None:
    assert LONGER[PATH] == MOST_BYTES == radiographs.MOST_BYTES
