"""Trace first: the case of a tooth that comes as surfaces or as a scan.

Files are read where the worker runs, so that they must lie in a folder that all workers see; their hashes, taken where the
cohort was begun, are held against what is read.
"""

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from canalwright import casefile, imaging
from canalwright.casefile import Case
from canalwright.cohort.job import CohortError
from canalwright.imaging import FoundCanal


def traced(ident: str, content: Mapping[str, Any]) -> Case:
    """The case of a tooth whose job names surfaces (`lumen`, `dentine`) or a `scan`. Raises ValueError for what cannot be traced."""
    extras: dict[str, Any] = {}
    if "lumen" in content:
        found, extras = _surfaces(content)
    else:
        found, extras["method"] = scanned(content), "cone-beam scan"
    size, taper = content["file"]
    return casefile.from_found(
        found, tooth=content["number"], label=ident, finishing_file=(int(size), float(taper)), end=content.get("end", 0.5), **extras
    )  # fmt: skip


def unchanged(content: Mapping[str, Any]) -> None:
    """Raises CohortError for a file of the job that is another one than when the cohort was begun."""
    for name, digest in (content.get("hashes") or {}).items():
        if file_hash(Path(content[name])) != digest:
            raise CohortError(f"{content[name]}: is another file than when the cohort was begun; begin it anew")


def file_hash(path: Path) -> str:
    """SHA-256 of a file, or of all files of a folder with their names."""
    digest = hashlib.sha256()
    for part in sorted(p for p in path.rglob("*") if p.is_file()) if path.is_dir() else [path]:
        if path.is_dir():
            digest.update(str(part.relative_to(path)).encode() + b"\0")
        with part.open("rb") as stream:
            while block := stream.read(1 << 20):
                digest.update(block)
    return digest.hexdigest()


def _surfaces(content: Mapping[str, Any]) -> tuple[tuple[FoundCanal, ...], dict[str, Any]]:
    outer = imaging.read_surface(Path(content["dentine"]))
    crown = imaging.read_surface(Path(content["enamel"])) if content.get("enamel") else None
    found = imaging.canals_from_surfaces(
        imaging.read_surface(Path(content["lumen"])), outer, tooth=content["number"], enamel=crown,
        orifices=content.get("orifices"), termini=content.get("termini"),
    )  # fmt: skip
    above = {c.name: round(imaging.reference_point(c, crown or outer).above, 2) for c in found}
    return found, {"above_orifice": above, "method": "surface meshes"}


def scanned(content: Mapping[str, Any]) -> tuple[FoundCanal, ...]:
    """The canals of a scan: by its mask, by a click in the tooth, or by orifices and termini. Raises ScanError, CohortError."""
    voxel = content.get("voxel")
    scan = imaging.read_scan(Path(content["scan"]), voxel=voxel)
    names = content.get("names") or []
    if content.get("mask"):
        labels = imaging.read_scan(Path(content["mask"]), voxel=voxel)
        present = [int(v) for v in np.unique(np.asarray(labels.voxels)) if v > 0]
        called = _called(names, len(present))
        return tuple(imaging.trace_mask(labels, v, scan=scan, name=n) for v, n in zip(present, called, strict=True))
    if content.get("click"):
        return imaging.find_canals(scan, content["click"])
    orifices, termini = content.get("orifices") or [], content.get("termini") or []
    called = _called(names, len(orifices))
    return tuple(imaging.trace(scan, o, t, name=n) for o, t, n in zip(orifices, termini, called, strict=True))


def _called(names: list[str], count: int) -> list[str]:
    if names and len(names) != count:
        raise CohortError(f"names: {len(names)} names for {count} canals; give as many, in order")
    return names or [f"canal {i + 1}" for i in range(count)]
