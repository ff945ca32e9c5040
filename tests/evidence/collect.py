"""Find every evidence row of every room."""

import importlib
import pkgutil

import tests.evidence as package
from tests.evidence.table import Check


def all_checks() -> list[Check]:
    """All rows, by room and in the order of their modules."""
    return [check for checks in by_module().values() for check in checks]


def by_module() -> dict[str, list[Check]]:
    """The rows of each module, by its name without `evidence_`."""
    names = sorted(m.name for m in pkgutil.iter_modules(package.__path__) if m.name.startswith("evidence_"))
    return {
        name.removeprefix("evidence_"): list(importlib.import_module(f"tests.evidence.{name}").CHECKS) for name in names
    }
