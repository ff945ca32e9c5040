"""The house stays readable: no long file without a reason, every module's story in its first lines."""

import ast
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[2]
MOST = 400
REASONS: dict[str, str] = {}
"""Files that may be longer, each with the reason."""
CODE = sorted(p for folder in ("src", "tests", "benchmarks", "fuzz", "release") for p in (HOUSE / folder).rglob("*.py"))
OTHERS = sorted(
    p for ending in ("*.js", "*.css") for p in (HOUSE / "src" / "canalwright" / "web" / "static").glob(ending)
)


def _lines(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines())


def test_no_file_is_long_without_a_reason() -> None:
    long = {p.relative_to(HOUSE).as_posix() for p in [*CODE, *OTHERS] if _lines(p) > MOST}
    assert long == set(REASONS), f"longer than {MOST} lines: split it, or give its reason here"


@pytest.mark.parametrize("folder", ["src", "benchmarks", "fuzz", "release"])
def test_every_module_tells_its_story_first(folder: str) -> None:
    silent = [
        p.relative_to(HOUSE).as_posix()
        for p in CODE
        if p.is_relative_to(HOUSE / folder)
        and p.stat().st_size
        and not ast.get_docstring(ast.parse(p.read_text(encoding="utf-8")))
    ]
    assert silent == []
