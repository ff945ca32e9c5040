"""Find every evidence row of every room."""

import importlib
import pkgutil

import tests.evidence as package
from tests.evidence.table import Check


def all_checks() -> list[Check]:
    """All rows, by room and in the order of their modules."""
    found: list[Check] = []
    for module in sorted(m.name for m in pkgutil.iter_modules(package.__path__)):
        if module.startswith("evidence_"):
            found.extend(importlib.import_module(f"tests.evidence.{module}").CHECKS)
    return found
