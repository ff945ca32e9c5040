"""Protects: what scans, meshes and films make doubtful, and why they are refused, is told in Spanish on a Spanish page, whatever numbers
and names stand in it."""

import ast
import errno
import itertools
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import canalwright.imaging
import canalwright.web.scan
from canalwright.imaging.readers.dicom_frames import SPARE
from canalwright.imaging.readers.scan import FORMATS
from canalwright.imaging.tracing.quality import END, WITHIN
from canalwright.web.disk import refused
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
    "FORMATS": [FORMATS],
    "SPARE": [SPARE],
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
REFUSING = ("tooth", "tracing", "readers", "radiograph")
"""Folders, beside the room itself, whose refusals a reader of the page is shown."""
ASIDE = {
    "allowed": ["50 to 60 million pixels in all, 50 a side at least"],
    "size": ["700 MiB"],
    "BUSY": ["something is being measured already; wait for it or cancel it"],
}
"""What stands behind a name that is handed to a refusal."""
INSTEAD = {"distal distal": "orifice distal", WORDS["said"][0]: "no canal leaves its pulp"}
"""What such a text is in truth: a sample of a gap would make no sense there."""
ENGLISH = re.compile(
    r"\b(the|of|its|it|and|or|with|not|no (?:such|canal|tooth|way)|is|are|was|give|pick|mark|export|take|file|allowed|voxels)\b"
)
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
    if isinstance(part.value, ast.Call) and _name(part.value.func) == "refused":
        return [refused(OSError(errno.ENOSPC, ""), Path("/scans"))]
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


def _refusals() -> dict[str, str]:
    """Every refusal as a reader meets it, a file before it where the code puts one, by the place that raises it."""
    room, page = ROOT, Path(canalwright.web.scan.__file__).parent
    paths = [*room.glob("*.py"), *(p for name in REFUSING for p in (room / name).rglob("*.py")), *page.glob("*.py")]
    found: dict[str, str] = {}
    for path in paths:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            match node:
                case ast.Call(func=ast.Name(id="refusal"), args=[_, wrong], keywords=more):
                    parts = [_told(wrong), *((k.arg == "allowed") * "allowed: " + _told(k.value) for k in more)]
                    found[f"{path.name}:{node.lineno}"] = "a scan/some.nii: " + "; ".join(parts)
                case ast.Call(func=ast.Name(id="ScanError"), args=[text]) if path.name != "refusal.py":
                    found[f"{path.name}:{node.lineno}"] = _told(text)
    return found


def _told(node: ast.expr) -> str:
    if isinstance(node, ast.Name):
        return ASIDE[node.id][0]
    text = next(sample for each in _of(node) for sample in _samples(each))
    return INSTEAD.get(text, text.replace(WORDS["said"][0], INSTEAD[WORDS["said"][0]]))


def test_every_refusal_of_a_scan_or_a_film_is_told_in_spanish() -> None:
    """Clause by clause; the name of the file is left as it is."""
    found = _refusals()
    assert len(found) > 120
    told = {where: (text, SPANISH(text)) for where, text in found.items()}
    assert {where: both for where, both in told.items() if both[0] == both[1] or ENGLISH.search(both[1])} == {}


def test_a_refusal_keeps_its_file_and_is_told_whole_or_not_at_all() -> None:
    said = "/a: b/no.nii: the file is empty: export it again"
    assert SPANISH(said) == "/a: b/no.nii: el archivo está vacío: expórtelo de nuevo"
    assert SPANISH("x.nii: the file is empty; nobody knows why") == "x.nii: the file is empty; nobody knows why"
    inner = "scan in memory: no canal found (cej.nii: the point is in no tooth: the nearest one is 3.1 mm away; click inside the tooth)"
    assert SPANISH(f"{inner}; give two points by hand") == (
        "tomografía en memoria: no se halló ningún conducto (cej.nii: el punto no está en ningún diente: el más cercano está a 3.1 mm; "
        "haga clic dentro del diente); indique dos puntos a mano"
    )
