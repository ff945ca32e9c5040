"""From the canals of a scan to a case."""

from dataclasses import replace
from typing import Any

from canalwright import casefile
from canalwright.casefile import Case
from canalwright.imaging import ScanError
from canalwright.web.scan.store import OpenScan

METHOD = "cone-beam scan"
STANDARD_FILE = (35, 0.04)


def case_of(opened: OpenScan, said: dict[str, Any]) -> Case:
    """The case of the canals as they stand: tooth, names in order, label and finishing file as the reader said.

    Raises ScanError without canals or for a tooth or file that is none, CaseError for a case that cannot be.
    """
    tracing = opened.tracing
    if not tracing.canals:
        raise ScanError(f"{opened.name}: no canals yet; find them or trace one between two points")
    names = [str(n).strip()[:40] for n in said.get("names") or ()]
    names = [name or canal.name for name, canal in zip(names, tracing.canals, strict=False)]
    names += [canal.name for canal in tracing.canals[len(names) :]]
    if len(set(names)) < len(names):
        raise ScanError(f"{opened.name}: two canals are called the same; give each its own name")
    called = dict(zip((c.name for c in tracing.canals), names, strict=True))
    canals = [replace(c, name=called[c.name], joined=called.get(c.joined, c.joined)) for c in tracing.canals]
    above = None
    if tracing.reference is not None:
        above = {c.name: round(tracing.above(c) or 0.0, 2) for c in canals}
    try:
        tooth = int(said.get("tooth", 0))
        size, taper = int(said.get("size") or STANDARD_FILE[0]), float(said.get("taper") or STANDARD_FILE[1])
    except (TypeError, ValueError):
        raise ScanError(f"{opened.name}: tooth, size and taper are numbers; choose them again") from None
    label = str(said.get("label", "")).strip()[:80] or "My case"
    return casefile.from_found(
        canals, tooth=tooth, label=label, finishing_file=(size, taper), above_orifice=above, method=METHOD
    )
