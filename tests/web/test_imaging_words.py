"""Protects: what scans, meshes and films make doubtful is told in Spanish on a Spanish page, whatever numbers and names stand in it."""

import ast
import itertools
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import canalwright.imaging
from canalwright.imaging.tracing.quality import END, WITHIN
from canalwright.web.words import words_of

SPANISH = words_of("es")
ROOT = Path(canalwright.imaging.__file__).parent
LISTS = {"notes", "marks", "found", "said", "warnings", "note", "missing", "told"}
"""What findings are gathered in, in that room; each text that ends up in one of them is one."""
ELSEWHERE = {"said"}
"""Names that also hold parts of refusals when they are assigned to."""
WORDS = {
    "WITHIN": [WITHIN],
    "way": ["beyond", "short of"],
    "where": ["below", "above"],
    "shared": ["halved between them", "counted in both"],
    "top_is": ["point given", "chamber floor", "roof of the pulp"],
    "said": [f"{END} 2.1 mm from"],
}
"""What stands in the gaps that hold words, by the name of what fills them."""
AND = (
    "wider at its terminus than at its orifice: the last millimetres may be measured too wide",
    "wider at its terminus than at its orifice: are the two points swapped?",
    "2 canals found where 4 are usual (mesiobuccal, distobuccal, palatal, second mesiobuccal): look for the missing one",
    "1 canal found where 2 are usual (buccal, palatal): look for the missing one",
    "canals are numbered, the largest first: no tooth was given to name them by",
    "canals are numbered, the largest first: no mesial or buccal direction was given to name them by",
    "canals are numbered, the largest first: no trade names for 5 canals of a molar",
    "2 other series in the folder left aside",
    "1 slice(s) of another size or direction left aside",
    "scan, voxel 0.2 mm, spread 0.12 mm, blurred tube fitted to the voxels",
    "surface mesh tooth.stl, median edge 0.12 mm",
)
"""Texts that are put together out of sight of this test."""
SILENT = ("exports", "phantom", "viewing")
"""Folders that say nothing about a scan of a user."""


def _of(node: ast.expr) -> Iterator[ast.expr]:
    """The texts of an expression: itself, the arms of a choice, the members of a tuple."""
    match node:
        case ast.Constant(value=str()) | ast.JoinedStr():
            yield node
        case ast.IfExp(body=body, orelse=other):
            yield from (*_of(body), *_of(other))
        case ast.Tuple(elts=members) | ast.List(elts=members):
            for member in members:
                yield from _of(member)
        case ast.BinOp(op=ast.Add(), left=left, right=right):
            yield from (*_of(left), *_of(right))
        case _:
            return


def _name(node: ast.expr) -> str:
    match node:
        case ast.Name(id=name) | ast.Attribute(attr=name):
            return name
        case ast.Subscript(value=value):
            return _name(value)
        case _:
            return ""


def _samples(node: ast.expr) -> list[str]:
    """A text with something in its gaps: a number where one is formatted, the words that may stand there, else a name."""
    if isinstance(node, ast.Constant):
        return [str(node.value)]
    assert isinstance(node, ast.JoinedStr)
    gaps = [_gap(part) if isinstance(part, ast.FormattedValue) else _samples(part) for part in node.values]
    return ["".join(parts) for parts in itertools.product(*gaps)]


def _gap(part: ast.FormattedValue) -> list[str]:
    if part.format_spec is not None:
        return ["3.1"]
    if isinstance(part.value, ast.IfExp):
        return [str(c.value) for c in (part.value.body, part.value.orelse) if isinstance(c, ast.Constant)]
    if _name(part.value) in {"low", "high", "in_mm"} or isinstance(part.value, ast.Call):
        return ["3"]
    return WORDS.get(_name(part.value), ["distal"])


def _findings() -> set[str]:
    found: set[str] = set()
    for path in ROOT.rglob("*.py"):
        if path.relative_to(ROOT).parts[0] in SILENT:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            texts: list[ast.expr] = []
            match node:
                case ast.Call(func=ast.Attribute(value=target, attr="append"), args=[what]) if _name(target) in LISTS:
                    texts = list(_of(what))
                case ast.AugAssign(target=target, value=what) if _name(target) in LISTS:
                    texts = list(_of(what))
                case ast.Assign(targets=[target], value=what) if _name(target) in LISTS - ELSEWHERE:
                    texts = list(_of(what))
                case ast.keyword(arg="notes" | "warnings", value=what):
                    texts = list(_of(what))
            found |= {sample for t in texts for sample in _samples(t)}
    return {
        text
        for text in found
        if " " in text.strip() and not text.startswith("wider at its terminus than at its orifice: " + END)
    }


@pytest.mark.parametrize("text", sorted({*_findings(), *AND}))
def test_every_finding_of_the_images_is_told_in_spanish(text: str) -> None:
    told = SPANISH.known(text)
    assert told is not None, "missing from catalogue/es.imaging.toml"
    assert not re.search(r"\b(the|of|its|it|and|was|canal|wide|below|beyond)\b", told), told


def test_findings_are_found() -> None:
    assert len(_findings()) > 20
