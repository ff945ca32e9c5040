"""`Job`: one tooth and what shall be done with it, as plain JSON types, so that any worker anywhere can do it.

The `key` of a job is the hash of everything that its result depends on: its content, the text of this program and the versions
of the libraries that compute. A result is taken over from an earlier run only where its key is the same.
"""

import hashlib
import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any

from canalwright import __version__

COMPUTING = ("numpy", "scipy", "numba", "scikit-image", "SimpleITK", "trimesh", "pyarrow", "dask", "distributed")
IDENT = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}")
Row = dict[str, Any]


class CohortError(ValueError):
    """A cohort, study or class that cannot be worked on: where, what is wrong, what to do, in one line."""


@dataclass(frozen=True)
class Job:
    """`ident` names the tooth (letters, digits, `.`, `_`, `-`); `chain` what to run ("case", "trial", "chair", "check") on `content`.

    Raises CohortError for a name that cannot be a file's.
    """

    ident: str
    chain: str
    content: Mapping[str, Any]

    def __post_init__(self) -> None:
        if not IDENT.fullmatch(self.ident):
            raise CohortError(
                f"tooth {self.ident[:60]!r}: allowed are letters, digits, '.', '_' and '-', at most 100; rename it"
            )

    @property
    def key(self) -> str:
        """SHA-256 of content, code and library versions."""
        told = [self.ident, self.chain, self.content, versions()]
        return hashlib.sha256(json.dumps(told, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


@dataclass(frozen=True)
class Outcome:
    """What came of a job: its rows, or the reason why it was set aside; `seconds` of processor time are no part of the result."""

    ident: str
    key: str
    rows: tuple[Row, ...] = ()
    set_aside: str = ""
    seconds: float = 0.0

    @property
    def good(self) -> bool:
        """Whether there are rows."""
        return not self.set_aside


Chain = Callable[[str, Mapping[str, Any]], list[Row]]


@cache
def versions() -> dict[str, str]:
    """Versions of this program, its text and the libraries that compute."""
    found = {"canalwright": __version__, "code": code_hash()}
    for name in COMPUTING:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            continue
    return found


@cache
def code_hash() -> str:
    """First 16 hexadecimal digits of the SHA-256 of the text and tables of the rooms that compute."""
    digest = hashlib.sha256()
    for name, content in sorted(_texts(files("canalwright"), "")):
        digest.update(name.encode() + b"\0" + content)
    return digest.hexdigest()[:16]


_SHELLS = ("cli", "web", "records", "exchange", "report")
_COMPUTE = ("after.py", "columns.py", "traced.py", "virtual.py", "virtual.toml")
"""What computes in this room, besides the chains; reports, stores and clusters may change without a result changing."""


def _texts(folder: Traversable, prefix: str) -> list[tuple[str, bytes]]:
    found: list[tuple[str, bytes]] = []
    for entry in folder.iterdir():
        name = f"{prefix}{entry.name}"
        if entry.is_dir():
            if entry.name != "__pycache__" and name not in _SHELLS:
                found += _texts(entry, f"{name}/")
        elif entry.name.endswith((".py", ".toml")) and (
            prefix != "cohort/" or entry.name.endswith(("chain.py", *_COMPUTE))
        ):
            found.append((name, entry.read_bytes()))
    return found
