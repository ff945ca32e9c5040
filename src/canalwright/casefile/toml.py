"""TOML from and to disk: refused when it cannot be text of a sensible size, written so that no half file stays."""

import re
import tomllib
from pathlib import Path
from typing import Any

from canalwright.casefile.problems import CaseError, Problem
from canalwright.casefile.whole import write_whole

LARGEST = 20_000_000


def read(path: Path) -> dict[str, Any]:
    """The tables of a TOML file; raises CaseError when it cannot be read or is not TOML."""
    name = path.name
    try:
        if path.is_dir():
            raise CaseError((Problem(name, "", "", "a file", "this is a folder; name the file in it"),))
        if path.exists() and not path.is_file():
            raise CaseError((Problem(name, "", "", "a file", "this is a device or a pipe; name a file"),))
        size = path.stat().st_size
        if size > LARGEST:
            allowed = f"at most {LARGEST // 1_000_000} MB"
            raise CaseError(
                (Problem(name, "size", f"{size / 1e6:.0f} MB", allowed, "this is no case or tray file; name another"),)
            )
        raw = path.read_bytes()
    except FileNotFoundError:
        raise CaseError(
            (Problem(name, "", "", "", f"there is no such file in {path.parent}; check the name"),)
        ) from None
    except OSError as error:
        raise CaseError((Problem(name, "", "", "", f"cannot be read: {error.strerror}"),)) from None
    return parse(raw, name)


def parse(raw: bytes | str, name: str) -> dict[str, Any]:
    """The tables of TOML text; raises CaseError naming line and column when it is not TOML."""
    if isinstance(raw, bytes):
        try:
            raw = raw.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise CaseError(
                (Problem(name, "", "", "UTF-8 text", f"not text (byte {error.start}); name a TOML file"),)
            ) from None
    if "\0" in raw:
        raise CaseError((Problem(name, "", "", "UTF-8 text", "a binary file; name a TOML file"),))
    try:
        return tomllib.loads(raw)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"\(at (line \d+, column \d+|end of document)\)", str(error))
        where = found.group(1) if found else ""
        what = re.sub(r"\s*\(at .*\)", "", str(error))
        raise CaseError((_broken(name, raw, where, what),)) from None
    except (RecursionError, ValueError) as error:
        what = "nested too deeply" if isinstance(error, RecursionError) else str(error)
        raise CaseError((Problem(name, "", "", "TOML", f"{what}; mend the file"),)) from None


def _broken(name: str, text: str, where: str, what: str) -> Problem:
    """What is wrong where TOML ends: a comma for a decimal point, a file that was cut off, or what the reader of TOML says."""
    lines = text.splitlines() or [""]
    place = re.fullmatch(r"line (\d+), column (\d+)", where)
    line = min(int(place[1]), len(lines)) if place else len(lines)
    if place and (comma := re.search(r"=\s*[+-]?(\d+),(\d+)\b", lines[line - 1])):
        return Problem(name, where, f"{comma[1]},{comma[2]}", "", f"write a decimal point: {comma[1]}.{comma[2]}")
    rest = "\n".join([lines[line - 1][int(place[2]) - 1 :], *lines[line:]]) if place else ""
    if not rest.strip():
        return Problem(name, where, "", "", "the file seems to end early: copy or save it again, or mend its last line")
    return Problem(name, where, "", "TOML", f"{what}; mend this line")


def write(text: str, path: Path) -> None:
    """Write text whole or not at all (see `whole`). Raises OSError when the folder cannot be written."""
    write_whole(text.encode("utf-8"), path)
