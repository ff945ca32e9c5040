"""Protects: every average has a source and a spread, and names of canals are understood as the trade writes them."""

import tomllib
from importlib.resources import files

import pytest

from canalwright.anatomy import Tooth, averages
from canalwright.quantities import Origin

RAW = tomllib.loads(files("canalwright.anatomy").joinpath("averages.toml").read_text(encoding="utf-8"))


def entries(node: object, path: str = "") -> list[tuple[str, dict[str, object]]]:
    """Every table of the file that names a source, with its path."""
    if not isinstance(node, dict):
        return []
    found = [(path, node)] if "source" in node else []
    return found + [entry for key, value in node.items() for entry in entries(value, f"{path}/{key}")]


@pytest.mark.parametrize(("path", "entry"), entries(RAW), ids=[path for path, _ in entries(RAW)])
def test_every_value_has_a_known_source_and_a_spread(path: str, entry: dict[str, object]) -> None:
    assert entry["source"] in RAW["sources"]
    if not path.startswith("/methods"):
        assert float(entry["spread"]) >= 0  # type: ignore[arg-type]


def test_every_source_is_used_and_says_how_it_was_seen() -> None:
    used = {entry["source"] for _, entry in entries(RAW)}
    assert used == set(RAW["sources"])
    assert all(row["seen"] for row in RAW["sources"].values())


def test_our_own_estimates_are_assumptions_not_published_averages() -> None:
    assert averages.reading_error("width", "gauging file").source.origin is Origin.ASSUMED
    assert averages.tooth_averages(Tooth(11)).crown.source.origin is Origin.AVERAGE


@pytest.mark.parametrize(
    ("code", "given", "full"),
    [(46, "MB", "mesiobuccal"), (46, "Mesiobuccal", "mesiobuccal"), (16, "mb2", "second mesiobuccal"),
     (11, "main", "single"), (15, "P", "palatal"), (37, "c-shaped", "c-shaped")],
)  # fmt: skip
def test_trade_names(code: int, given: str, full: str) -> None:
    name, known = averages.canal_name(Tooth(code), given)
    assert name == full
    assert known == (given != "c-shaped")


def test_widths_never_shrink_coronally() -> None:
    for code in (11, 14, 16, 17, 31, 46, 47):
        for name in averages.tooth_averages(Tooth(code)).usual:
            known = averages.canal_averages(Tooth(code), name)
            assert list(known.minor.value) == sorted(known.minor.value)
            assert all(b >= a for a, b in zip(known.minor.value, known.major.value, strict=True))
            assert known.orifice_minor.value > known.minor.value[-1]
