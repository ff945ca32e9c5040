"""Licences of everything that canalwright needs at run time: `python -m release.licences` writes docs/licences.md.

Read from the packages as installed. A licence that is not in `ACCEPTED` stops it: somebody has to look, and decide.
"""

import importlib.metadata as metadata
import re
import sys
from collections.abc import Iterable
from pathlib import Path

from packaging.requirements import Requirement

PAGE = Path(__file__).parents[1] / "docs" / "licences.md"
ACCEPTED = (
    "0BSD", "Apache-2.0", "BSD", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "ISC", "LLVM-exception", "MIT", "MIT-0", "MIT-CMU", "MPL-2.0",
    "PSF-2.0", "Zlib", "Public Domain",
)  # fmt: skip
"""MPL-2.0 binds changes to its own files only; the rest are permissive."""
SAME = {
    "apache": "Apache-2.0", "apache 2.0": "Apache-2.0", "apache software license": "Apache-2.0", "bsd license": "BSD", "bsd": "BSD",
    "2-clause bsd": "BSD-2-Clause", "bsd 3-clause license": "BSD-3-Clause", "mit license": "MIT", "the mit license (mit)": "MIT",
    "isc license": "ISC", "isc license (iscl)": "ISC", "mozilla public license 2.0 (mpl 2.0)": "MPL-2.0", "zlib/libpng": "Zlib",
    "python software foundation license": "PSF-2.0", "public domain": "Public Domain",
}  # fmt: skip
OR_ELSE = {"docutils": "Public Domain", "scikit-image": "BSD-3-Clause", "scipy": "BSD-3-Clause"}
"""Packages that name many licences, one for each file; what the files that run here carry."""


def needed(name: str = "canalwright") -> dict[str, metadata.Distribution]:
    """Every distribution that `name` needs to run on this machine, itself left out, by its normal name."""
    found: dict[str, metadata.Distribution] = {}
    waiting, seen = [Requirement(name)], set()
    while waiting:
        one = waiting.pop()
        asked = (normal(one.name), frozenset(one.extras))
        if asked in seen:
            continue
        seen.add(asked)
        try:
            found[asked[0]] = metadata.distribution(one.name)
        except metadata.PackageNotFoundError:
            continue
        waiting += wanted(found[asked[0]], one.extras)
    del found[normal(name)]
    return dict(sorted(found.items()))


def wanted(one: metadata.Distribution, extras: Iterable[str] = ()) -> list[Requirement]:
    """What a distribution, with these extras of it, asks for on this machine."""
    every = [Requirement(line) for line in one.requires or []]
    return [w for w in every if w.marker is None or any(w.marker.evaluate({"extra": e}) for e in ("", *extras))]


def licence(one: metadata.Distribution) -> str:
    """Its licence as an SPDX expression where it gives one, else by the names it gives; "" when it says nothing."""
    name, told = normal(one.metadata["Name"]), one.metadata
    if name in OR_ELSE:
        return OR_ELSE[name]
    if expression := told.get("License-Expression"):
        return str(expression)
    short = str(told.get("License") or "").strip()
    named = [c.split(" :: ")[-1] for c in told.get_all("Classifier") or [] if c.startswith("License ::")]
    words = [short] if 0 < len(short) < 60 else named
    return " AND ".join(dict.fromkeys(SAME.get(w.lower(), w) for w in words))


def unknown(expression: str) -> list[str]:
    """The parts of a licence that nobody here has accepted; where one may choose, one accepted way is enough."""
    if not expression:
        return ["no licence named"]
    ways = re.split(r"\s+OR\s+", re.sub(r"[()]", "", expression))
    parts = [[p for p in re.split(r"\s+(?:AND|WITH)\s+", way) if p not in ACCEPTED] for way in ways]
    return [] if any(not p for p in parts) else sorted({p for way in parts for p in way})


def normal(name: str) -> str:
    """A distribution's name as the package index compares it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def page() -> str:
    """The list as Markdown."""
    rows = [f"| {name} | {licence(one)} |" for name, one in needed().items()]
    return "\n".join(
        [
            "# Licences of what canalwright needs at run time",
            "",
            "canalwright itself is under Apache-2.0. Made by `make licences` from what was installed from the lock on Linux; "
            "versions stand in `requirements.lock`. This is a reading of what the packages say of themselves, not legal advice.",
            "",
            "| package | licence |",
            "|---|---|",
            *rows,
            "",
        ]
    )


def main() -> None:
    """Write the page; ends with an error when a licence is not accepted."""
    wrong = {name: bad for name, one in needed().items() if (bad := unknown(licence(one)))}
    if wrong:
        sys.exit(
            "\n".join(f"{name}: {', '.join(bad)} is not among the licences we accept" for name, bad in wrong.items())
        )
    PAGE.write_text(page(), encoding="utf-8")
    print(PAGE)


if __name__ == "__main__":
    main()
