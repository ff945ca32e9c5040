"""The list of erased pseudonyms beside the data: so that restoring an older backup does not bring anybody back."""

import json
from pathlib import Path

from canalwright.records.errors import StoreDamaged
from canalwright.records.files import write_whole

FILE = "erased.json"


def erased_in(home: Path) -> set[str]:
    """Pseudonyms on the list. Raises StoreDamaged when it cannot be read."""
    path = home / FILE
    if not path.exists():
        return set()
    try:
        found = json.loads(path.read_bytes())
        return {str(name) for name in found["erased"]}
    except (OSError, ValueError, KeyError, TypeError):
        raise StoreDamaged(f"the list of erased patients {path} cannot be read: take it from an older copy") from None


def write_erased(home: Path, names: set[str]) -> None:
    """Write the whole list."""
    write_whole(home / FILE, json.dumps({"erased": sorted(names)}, indent=1).encode())
