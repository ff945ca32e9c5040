"""Counting a use of a finishing file in the tray file: the rest of the file, comments and all, stays as it is."""

from pathlib import Path

import tomlkit
from tomlkit.exceptions import ParseError
from tomlkit.items import AoT, Table

from canalwright.casefile import toml
from canalwright.casefile.problems import CaseError, Problem
from canalwright.casefile.tray import load_tray, loads_tray


def count_use(path: str | Path, name: str, canals: int = 1) -> tuple[int, int | None]:
    """Note in a tray file that the file `name` (such as "35/0.06") has shaped `canals` more canals.

    Gives how many it has shaped now, and after how many it is thrown away (None where the tray does not say). One that stands in
    the tray together with other sizes gets an entry of its own, for each file has its own count. Raises CaseError for a tray that
    cannot be read or has no such file, OSError where it cannot be written.
    """
    path = Path(path)
    tray = load_tray(path)
    known = next((f for f in tray.files if f.name == name), None)
    if known is None:
        there = ", ".join(f.name for f in tray.files) or "none: list yours as [[file]]"
        raise CaseError((Problem(path.name, "file", repr(name), there, "name one of these"),))
    if not 1 <= canals <= 8:
        raise CaseError((Problem(path.name, "canals", str(canals), "1 to 8", "give the canals of one tooth"),))
    try:
        document = tomlkit.parse(path.read_text(encoding="utf-8"))
    except ParseError as error:
        raise CaseError((Problem(path.name, "", "", "TOML", str(error)),)) from None
    entries = document["file"]
    assert isinstance(entries, AoT)
    uses = (known.uses or 0) + canals
    size = known.size or 0
    for entry in entries:
        if size in entry["sizes"].unwrap() and abs(float(entry["taper"].unwrap()) - _taper(name)) < 1e-9:
            entries.append(_own(entry, size, uses)) if len(entry["sizes"].unwrap()) > 1 else entry.update(
                {"uses": uses}
            )
            break
    text = tomlkit.dumps(document)
    loads_tray(text, path.name)
    toml.write(text, path)
    return uses, known.most_uses


def _taper(name: str) -> float:
    return float(name.partition("/")[2])


def _own(entry: Table, size: int, uses: int) -> Table:
    """An entry for one size alone, taken out of that of several."""
    own = tomlkit.table()
    for key, value in entry.unwrap().items():
        own.add(key, [size] if key == "sizes" else value)
    own["uses"] = uses
    entry["sizes"] = [s for s in entry["sizes"].unwrap() if s != size]
    return own
