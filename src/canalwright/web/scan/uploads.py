"""Files that a browser sends, part by part, so that no request is long and the reader sees how far it is."""

import contextlib
import os
from pathlib import Path

from canalwright.imaging import ScanError
from canalwright.web.disk import refused
from canalwright.web.scan.store import OpenScan

PART = 1 << 20
"""Bytes of one part."""
MOST_BYTES = 8 << 30
MOST_NAME = 80


def plain_name(text: str) -> str:
    """A name to show and to call a file by: no folder, nothing that cannot be printed."""
    last = text.replace("\\", "/").rstrip("/").rsplit("/", 1)[-1]
    return "".join(c for c in last if c.isprintable())[-MOST_NAME:].lstrip(".") or "scan"


def take(opened: OpenScan, number: int, name: str, offset: int, part: bytes) -> None:
    """Lay down one part of file `number`. Raises ScanError for more than a scan may have, a part out of order, or a disk that takes
    nothing: the same part may then be sent again."""
    if opened.phase != "receiving":
        raise ScanError(f"{opened.name}: its files have all been sent; open it anew")
    if opened.received + len(part) > MOST_BYTES:
        raise ScanError(f"{opened.name}: more than {MOST_BYTES >> 30} GiB sent; crop the scan first")
    target: Path = opened.folder / "sent" / _name_of(opened, number, plain_name(name))
    there = target.stat().st_size if target.exists() else 0
    if offset != there:
        raise ScanError(f"{opened.name}: part of {plain_name(name)} missing; send it again")
    try:
        with target.open("ab") as out:
            out.write(part)
    except OSError as error:
        with contextlib.suppress(OSError):
            os.truncate(target, there)
        raise ScanError(f"{opened.name}: {refused(error, opened.folder.parent)}") from None
    opened.received += len(part)


def _name_of(opened: OpenScan, number: int, name: str) -> str:
    """The file's own name (a header may name its neighbour), with its number before it where another one is called the same."""
    if number not in opened.files:
        taken = {n.lower() for n in opened.files.values()}
        opened.files[number] = f"{number:05d}-{name}" if name.lower() in taken else name
    return opened.files[number]
