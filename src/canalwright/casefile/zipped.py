"""A zip that says what is in it: `manifest.json` names every other file with its SHA-256 and size.

Read wholly in memory, nothing unpacked to the disk: only names that belong there, only as much as they say, and not too much.
"""

import hashlib
import json
import re
import struct
import zipfile
import zlib
from collections.abc import Callable, Mapping
from typing import Any, BinaryIO

MANIFEST = "manifest.json"
MOST_FILES, MOST_BYTES = 1000, 512 << 20
UNREADABLE = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, struct.error, NotImplementedError, RuntimeError, EOFError, OSError, ValueError,
    OverflowError,
)  # fmt: skip
"""What the library raises for a damaged zip."""


class ZipRefused(ValueError):
    """A zip that is not as it was written, or holds what has no place in it; the message is one line."""


def write_zip(file: BinaryIO, manifest: Mapping[str, object], contents: Mapping[str, bytes]) -> None:
    """Write `contents` by name, and the manifest with their hashes; the same contents give the same bytes."""
    files = {name: {"sha256": _digest(data), "bytes": len(data)} for name, data in contents.items()}
    told = json.dumps({**manifest, "files": files}, indent=1).encode()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in {MANIFEST: told, **contents}.items():
            archive.writestr(zipfile.ZipInfo(name), data, zipfile.ZIP_DEFLATED)


def read_zip(
    file: BinaryIO,
    allowed: re.Pattern[str],
    *,
    parse: Callable[[bytes], Mapping[str, Any]],
    check: Callable[[Mapping[str, Any]], None],
    most: int = MOST_BYTES,
) -> tuple[Mapping[str, Any], dict[str, bytes]]:
    """Manifest and contents by name, checked against each other.

    `allowed` matches the names that have a place in this kind of zip; `parse` reads the manifest; `check` sees it before the files are
    compared and may raise. Raises ZipRefused for anything missing, changed, unknown, doubled, or over `most` bytes.
    """
    try:
        with zipfile.ZipFile(file) as archive:
            contents = _contents(archive, allowed, most)
    except ZipRefused:
        raise
    except UNREADABLE as error:
        raise ZipRefused(f"it cannot be read as an archive ({error})") from None
    if MANIFEST not in contents:
        raise ZipRefused(f"it has no {MANIFEST}")
    manifest = parse(contents.pop(MANIFEST))
    check(manifest)
    files = manifest.get("files")
    wanted = {str(k): v for k, v in files.items()} if isinstance(files, dict) else {}
    if set(wanted) != set(contents):
        raise ZipRefused("it does not hold the files that its manifest names")
    for name, data in contents.items():
        facts = wanted[name]
        if not isinstance(facts, dict) or facts.get("sha256") != _digest(data) or facts.get("bytes") != len(data):
            raise ZipRefused(f"{name} is not as it was written")
    return manifest, contents


def _contents(archive: zipfile.ZipFile, allowed: re.Pattern[str], most: int) -> dict[str, bytes]:
    members = archive.infolist()
    if len(members) > MOST_FILES or sum(m.file_size for m in members) > most:
        raise ZipRefused(f"over {MOST_FILES} files or {most >> 20} MiB when unpacked")
    found: dict[str, bytes] = {}
    for member in members:
        name = member.filename
        if name in found or not (name == MANIFEST or allowed.fullmatch(name)):
            raise ZipRefused(f"a file {name[:60]!r} has no place in it")
        with archive.open(member) as file:
            found[name] = file.read(member.file_size + 1)
        if len(found[name]) != member.file_size:
            raise ZipRefused(f"{name} is not as long as the archive says")
    return found


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
