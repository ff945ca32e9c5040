"""PDF from a Typst template bundled beside this file and data as JSON.

Data are set as text, never read as markup. Only the fonts inside the typesetter are used and the date of creation is fixed:
the same data give the same bytes anywhere.
"""

import json
from importlib.resources import files
from typing import Any

import typst

from canalwright.report.svg import clean

PAPERS = {"a4": "a4", "letter": "us-letter"}


def typeset(name: str, data: dict[str, Any], paper: str = "a4") -> bytes:
    """The PDF of template `name`.typ. `paper` is "a4" or "letter"; raises ValueError for another."""
    given = inputs(data, paper)
    made = typst.compile(template(name), format="pdf", sys_inputs=given, ignore_system_fonts=True, timestamp=0)
    assert isinstance(made, bytes)
    return made


def template(name: str) -> bytes:
    """The template that lays a document out."""
    return files("canalwright.report").joinpath(f"{name}.typ").read_bytes()


def inputs(data: dict[str, Any], paper: str) -> dict[str, str]:
    """What a template reads: all content as JSON, and the paper. Raises ValueError for an unknown paper."""
    if paper not in PAPERS:
        raise ValueError(f"paper {paper!r} is unknown: choose {' or '.join(PAPERS)}")
    return {"data": json.dumps(_clean(data), ensure_ascii=True, sort_keys=True), "paper": PAPERS[paper]}


def _clean(value: Any) -> Any:
    """Strings without control characters, all the way down."""
    if isinstance(value, str):
        return clean(value)
    if isinstance(value, dict):
        return {key: _clean(item) for key, item in value.items()}
    return [_clean(item) for item in value] if isinstance(value, list | tuple) else value
