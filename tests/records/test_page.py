"""Protects: the example on the page of the records runs as it is written."""

import textwrap
from pathlib import Path

import pytest

PAGE = Path(__file__).parents[2] / "docs" / "records.md"


def test_example_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    lines = PAGE.read_text(encoding="utf-8").splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("    from pathlib"))
    end = next(i for i, line in enumerate(lines) if i > start and line and not line.startswith("    "))
    found: dict[str, object] = {}
    exec(textwrap.dedent("\n".join(lines[start:end])), found)
    assert (tmp_path / "practice" / "records.db").exists()
    assert str(found["patient"]).startswith("P-")
