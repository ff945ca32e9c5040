"""All files of one case as one archive, and back: the case file, the sessions at the chair, its radiographs, and what was made to read.

    manifest.json         format, version, tooth, what made it, SHA-256 and size of every other file
    case.toml             the case; what is planned on it is made anew from it
    chair/<session>.jsonl sessions at the chair, as they were written down
    film/<name>.png,.json radiographs that were measured on or checked, greys and marks alone (see `web.filmkeep`)
    made/...              cards, plans, drawings, moving pictures: for reading, never read back

It holds what the case file holds, no identity (labels of a scan as DICOM name their series by its UIDs), and is not encrypted: send it as
one sends a radiograph.
"""

import io
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from canalwright.casefile.case import Case, loads
from canalwright.casefile.dump import dumps
from canalwright.casefile.problems import CaseError, Problem
from canalwright.casefile.zipped import ZipRefused, read_zip, write_zip

FORMAT, VERSION = "canalwright work on a case", 1
MOST = 64 << 20
LESS = "take radiographs away that are not needed, save checks of two scans by themselves, then make it again"
NAMES = re.compile(
    r"case\.toml|chair/[0-9a-f]{16}\.jsonl|film/[0-9a-f]{16}\.(?:png|json)|made/[0-9A-Za-z][0-9A-Za-z._-]{0,99}"
)


@dataclass(frozen=True)
class Work:
    """A case, the sessions at the chair that belong to it, text by name, and its radiographs, picture and description by name."""

    case: Case
    sessions: Mapping[str, str]
    films: Mapping[str, tuple[bytes, bytes]] = field(default_factory=dict)


def pack(work: Work, made: Mapping[str, bytes], *, by: str = "") -> bytes:
    """The archive of a case; `made` are further files for people, by plain name, `by` the program's version.

    Raises ValueError for a name that has no place in an archive, CaseError for more than one may hold.
    """
    contents = {"case.toml": dumps(work.case).encode()}
    contents |= {f"chair/{name}.jsonl": text.encode() for name, text in work.sessions.items()}
    for name, (picture, told) in work.films.items():
        contents |= {f"film/{name}.png": picture, f"film/{name}.json": told}
    contents |= {f"made/{name}": data for name, data in made.items()}
    for name in contents:
        if not NAMES.fullmatch(name):
            raise ValueError(f"{name!r} cannot stand in an archive of a case; use letters, digits, dot and hyphen")
    if (size := sum(map(len, contents.values()))) > MOST - (1 << 20):
        raise CaseError(
            (Problem(f"the archive would have {size >> 20} MiB, at most {MOST >> 20} MiB fit", "", "", "", LESS),)
        )
    file = io.BytesIO()
    write_zip(file, {"format": FORMAT, "version": VERSION, "tooth": work.case.tooth.code, "by": by}, contents)
    return file.getvalue()


def unpack(data: bytes, name: str = "archive") -> Work:
    """Read an archive back. Raises CaseError, one problem for each thing that is wrong; nothing is unpacked to the disk."""
    try:
        _, contents = read_zip(io.BytesIO(data), NAMES, parse=_parsed, check=_ours, most=MOST)
        text = contents["case.toml"].decode("utf-8")
        sessions = {
            path.removeprefix("chair/").removesuffix(".jsonl"): content.decode("utf-8")
            for path, content in contents.items()
            if path.startswith("chair/")
        }
    except (ZipRefused, UnicodeDecodeError) as error:
        raise _refused(name, str(error)) from None
    except KeyError:
        raise _refused(name, "it holds no case.toml") from None
    pictures = [path.removesuffix(".png") for path in contents if path.startswith("film/") and path.endswith(".png")]
    if (
        sum(path.startswith("film/") for path in contents)
        != sum({f"{p}.png", f"{p}.json"} <= contents.keys() for p in pictures) * 2
    ):
        raise _refused(name, "a radiograph in it lacks its picture or its description")
    films = {p.removeprefix("film/"): (contents[f"{p}.png"], contents[f"{p}.json"]) for p in pictures}
    return Work(loads(text, name), sessions, films)


def read(path: Path) -> bytes:
    """The bytes of an archive on the disk. Raises CaseError for what is no file or larger than any archive, before it is read."""
    if not path.is_file():
        raise _refused(path.name, "it is no file")
    if path.stat().st_size > MOST:
        raise _refused(path.name, f"it has {path.stat().st_size >> 20} MiB, allowed {MOST >> 20}")
    return path.read_bytes()


def _parsed(data: bytes) -> Mapping[str, Any]:
    try:
        told = json.loads(data)
    except (ValueError, RecursionError):
        told = None
    if not isinstance(told, dict):
        raise ZipRefused("its manifest is no JSON object")
    return told


def _ours(manifest: Mapping[str, Any]) -> None:
    if manifest.get("format") != FORMAT:
        raise ZipRefused("it is no archive of a case made by this program")
    if manifest.get("version") != VERSION:
        raise ZipRefused(f"it has format {manifest.get('version')}; this program reads format {VERSION}")


def _refused(name: str, why: str) -> CaseError:
    problem = Problem(f"{name}: this archive is refused: {why}", "", "", "", "make it again where it came from")
    return CaseError((problem,))
