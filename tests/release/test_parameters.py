"""The page of parameters names every value that the models take as given, each with where it comes from."""

import tomllib

import pytest
from release.parameters import FILES, ROOMS, page


@pytest.fixture(scope="module")
def rows() -> list[list[str]]:
    lines = [line for line in page().splitlines() if line.startswith("| ") and not line.startswith("| what")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def test_no_row_without_a_source(rows: list[list[str]]) -> None:
    assert not [row for row in rows if len(row) != 4 or not row[3]]


def test_every_reading_of_heat_and_compaction_stands_there(rows: list[list[str]]) -> None:
    listed = {row[0] for row in rows}
    for name in ("heat/materials.toml", "heat/constants.toml", "compaction/materials.toml"):
        table = tomllib.loads((ROOMS / name).read_text(encoding="utf-8"))
        assert {key for key, value in table.items() if "value" in value} <= listed


def test_no_table_of_sourced_values_is_left_out() -> None:
    """A new table of values with sources has to be on the page, too."""
    sourced = {
        p.relative_to(ROOMS).as_posix()
        for p in ROOMS.rglob("*.toml")
        if "\nsource = " in (text := p.read_text(encoding="utf-8")) or "[sources]" in text or "\ndetail = " in text
    }
    assert sourced - set(FILES) <= {"web/formulas.toml"}
