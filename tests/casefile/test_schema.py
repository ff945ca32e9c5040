"""Protects: the published schemas are those of the program, are sound, and agree with what the reader takes."""

import tomllib
from importlib.resources import files
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from canalwright import casefile
from canalwright.casefile.schema_files import texts

DOCS = Path(__file__).parents[2] / "docs" / "formats"


@pytest.mark.parametrize("name", sorted(texts()))
def test_the_published_file_is_up_to_date(name: str) -> None:
    """When this fails: python -m canalwright.casefile.schema_files"""
    assert (DOCS / name).read_text(encoding="utf-8") == texts()[name]


@pytest.mark.parametrize("schema", [casefile.schema(), casefile.tray_schema()], ids=["case", "tray"])
def test_the_schema_is_sound(schema: dict[str, object]) -> None:
    Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize(
    ("schema", "name"), [(casefile.schema(), "demo_case.toml"), (casefile.tray_schema(), "generic_tray.toml")]
)
def test_bundled_files_hold_to_the_schema(schema: dict[str, object], name: str) -> None:
    table = tomllib.loads(files("canalwright.casefile").joinpath(name).read_text(encoding="utf-8"))
    assert list(Draft202012Validator(schema).iter_errors(table)) == []


@pytest.mark.parametrize(
    ("old", "new"),
    [("working_length_mm = { value = 20.5", "working_length_mm = { value = 3"), ("taper = 0.06", "taper = '6 %'"),
     ("[tooth]", "[teeth]"), ('"apex locator"', '"feeling"'), ("wanted = true", "wanted = 1")],
)  # fmt: skip
def test_what_the_reader_refuses_the_schema_refuses(old: str, new: str) -> None:
    text = files("canalwright.casefile").joinpath("demo_case.toml").read_text(encoding="utf-8")
    assert old in text
    table = tomllib.loads(text.replace(old, new))
    assert list(Draft202012Validator(casefile.schema()).iter_errors(table))
    with pytest.raises(casefile.CaseError):
        casefile.from_table(table)


@pytest.mark.parametrize(("page", "name"), [("case.md", "demo_case.toml"), ("tray.md", "generic_tray.toml")])
def test_the_page_shows_the_bundled_file(page: str, name: str) -> None:
    text = files("canalwright.casefile").joinpath(name).read_text(encoding="utf-8")
    assert text.rstrip() in (DOCS / page).read_text(encoding="utf-8")


@pytest.mark.parametrize("page", ["case.md"])
def test_the_short_examples_of_the_page_can_be_read(page: str) -> None:
    blocks = (DOCS / page).read_text(encoding="utf-8").split("```toml\n")[1:]
    cases = [block.split("```")[0] for block in blocks if block.startswith(("[case]", "#"))]
    assert len(cases) == 2
    for case in cases:
        assert casefile.loads(case, page).canals


def test_the_page_names_every_key() -> None:
    text = (DOCS / "case.md").read_text(encoding="utf-8")
    for table in (casefile.schema(), *casefile.schema()["$defs"].values()):
        for key in table["properties"]:
            assert f"{key}" in text, key
