"""What a cohort is made of: a folder of case files, or a table (CSV, TOML, Parquet) of cases, surfaces and scans.

A folder: every case file `*.toml` in it is a tooth by the name of the file; where it holds `cohort.csv`, `.toml` or `.parquet`, that
table is read instead. A table has one row for each tooth; paths count from the folder of the table:

    id        name of the tooth (letters, digits, `.`, `_`, `-`)          case      a case file, or ...
    lumen     lumen surface, with dentine and, if wanted, enamel          scan      a scan, with one of:
    number    tooth in ISO 3950                                           click     a point in the tooth, `x,y,z`: all its canals
    file      finishing file, `30/0.04`                                   mask      a mask, one label a canal
    canal     only this canal                                             orifices, termini   `x,y,z; x,y,z`, one for each canal
    end       mm from terminus to the end of the preparation              names     names of the canals, `MB; ML; D`
    tray      a tray file                                                 voxel     voxel size of a stack of pictures, mm
    after     a scan after the filling, to check it (with `before`, orifices and termini where the tooth comes as a case file)
    basis     what the scans are for that: `cone-beam scan` (usual) or `micro-CT`

and any of the choices of a plan: `temperature`, `activation`, `rounds`, `force`, `cone`, `trim`, `carrier`, `sealer`.
"""

import csv
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from canalwright.casefile import load_tray
from canalwright.cohort.job import CohortError, Job
from canalwright.cohort.traced import file_hash

BASES = ("cone-beam scan", "micro-CT")
TABLES = ("cohort.csv", "cohort.toml", "cohort.parquet")
PATHS = ("lumen", "dentine", "enamel", "scan", "mask", "before", "after")
POINTS = ("orifices", "termini")
NUMBERS = ("temperature", "activation", "force", "trim", "hold", "last_hold", "pause")
WORDS = ("cone", "carrier", "sealer")
KNOWN = {
    "id",
    "case",
    "number",
    "file",
    "canal",
    "end",
    "tray",
    "click",
    "names",
    "voxel",
    "basis",
    "rounds",
    *PATHS,
    *POINTS,
    *NUMBERS,
    *WORDS,
}


@dataclass(frozen=True)
class Setting:
    """What holds for all teeth of a cohort unless its table says otherwise: tray file, draws, seed, and choices of the plan."""

    tray: Path | None = None
    draws: int = 200
    seed: int = 20
    choices: tuple[tuple[str, Any], ...] = ()


def gather(source: Path, setting: Setting | None = None) -> list[Job]:
    """The jobs of a folder or table, by name. Raises CohortError for a source that is none, or a row that names no tooth."""
    setting = setting or Setting()
    if source.is_dir():
        table = next((source / name for name in TABLES if (source / name).is_file()), None)
        if table is None:
            files = sorted(p for p in source.glob("*.toml") if _is_case(p))
            if not files:
                raise CohortError(
                    f"{source}: no case file (*.toml) and no {', '.join(TABLES)} in it; put the teeth there"
                )
            return [_job({"id": p.stem, "case": p.name}, source, setting, f"{source.name}/{p.name}") for p in files]
        source = table
    if not source.exists():
        raise CohortError(f"{source}: there is no such folder or table; check the name")
    rows = _rows(source)
    if not rows:
        raise CohortError(f"{source.name}: no tooth in it; write one row for each")
    return [_job(row, source.parent, setting, f"{source.name}: row {i}") for i, row in enumerate(rows, 1)]


def _is_case(path: Path) -> bool:
    """Whether a TOML file means to be a case file; one that cannot be read counts, so that it is set aside with its reason."""
    try:
        return "tooth" in tomllib.loads(path.read_text(encoding="utf-8"))
    except (ValueError, OSError):
        return True


def _rows(path: Path) -> list[dict[str, Any]]:
    try:
        match path.suffix.lower():
            case ".csv":
                with path.open(encoding="utf-8-sig", newline="") as stream:
                    return [dict(row) for row in csv.DictReader(stream)]
            case ".toml":
                return [dict(row) for row in tomllib.loads(path.read_text(encoding="utf-8")).get("tooth", [])]
            case ".parquet":
                return [dict(row) for row in pq.read_table(path).to_pylist()]
    except (ValueError, OSError, pa.ArrowException) as error:
        raise CohortError(f"{path.name}: cannot be read ({' '.join(str(error).split())[:120]}); mend it") from None
    raise CohortError(f"{path.name}: is no folder and no table; name a folder, or a .csv, .toml or .parquet file")


def _job(row: Mapping[str, Any], folder: Path, setting: Setting, where: str) -> Job:
    given = {k: v for k, v in row.items() if v not in (None, "")}
    unknown = sorted(str(k) for k in given if k not in KNOWN)
    if unknown:
        raise CohortError(f"{where}: unknown column {unknown[0]!r}; known are {', '.join(sorted(KNOWN))}")
    if "id" not in given:
        raise CohortError(f"{where}: no id; give each tooth a name")
    try:
        content = _content(given, folder, where)
        tray = folder / str(given["tray"]) if "tray" in given else setting.tray
        content["choices"] = {"draws": setting.draws, "seed": setting.seed, **dict(setting.choices), **_choices(given)}
        if tray is not None:
            load_tray(tray)
            content["tray"] = tray.read_text(encoding="utf-8")
    except (TypeError, ValueError) as error:
        raise CohortError(f"{where}: {error}") from None
    return Job(str(given["id"]), "case", content)


def _content(given: Mapping[str, Any], folder: Path, where: str) -> dict[str, Any]:
    """What the chain needs: the case file's text, or absolute paths with their hashes."""
    content: dict[str, Any] = {k: str(given[k]) for k in ("canal", "basis") if k in given}
    content |= _files(given, folder, where) | _marks(given)
    if "after" in given and not ("scan" in given or ({"before"} <= given.keys() and set(POINTS) <= given.keys())):
        raise CohortError(f"{where}: a scan after the filling needs the scan before it, with orifices and termini")
    if content.get("basis", BASES[0]) not in BASES:
        raise CohortError(f"{where}: basis {content['basis']!r}: allowed {' or '.join(BASES)}; choose one of them")
    if "case" in given:
        path = folder / str(given["case"])
        if not path.is_file():
            raise CohortError(f"{where}: there is no case file {path}; check the name")
        return {**content, "case": path.read_text(encoding="utf-8", errors="replace")}
    if "scan" not in given and not {"lumen", "dentine"} <= given.keys():
        raise CohortError(
            f"{where}: names neither a case file, nor lumen and dentine surfaces, nor a scan; give one of them"
        )
    if "number" not in given or "file" not in given:
        raise CohortError(f"{where}: surfaces and scans need number (ISO 3950) and file (such as 30/0.04)")
    if "scan" in given and not ({"click"} <= given.keys() or {"mask"} <= given.keys() or set(POINTS) <= given.keys()):
        raise CohortError(f"{where}: a scan needs click, mask, or orifices and termini")
    size, _, taper = str(given["file"]).partition("/")
    return {**content, "number": int(given["number"]), "file": [int(size), float(taper)]}


def _files(given: Mapping[str, Any], folder: Path, where: str) -> dict[str, Any]:
    """Absolute paths of surfaces and scans, with their hashes."""
    paths = {k: str((folder / str(given[k])).resolve()) for k in PATHS if k in given}
    missing = [p for p in paths.values() if not Path(p).exists()]
    if missing:
        raise CohortError(f"{where}: there is no {missing[0]}; check the name")
    return {**paths, "hashes": {k: file_hash(Path(p)) for k, p in paths.items()}} if paths else {}


def _marks(given: Mapping[str, Any]) -> dict[str, Any]:
    """Points, names and sizes that tracing needs."""
    content: dict[str, Any] = {k: float(given[k]) for k in ("end", "voxel") if k in given}
    content |= {k: [_point(p) for p in _listed(given[k])] for k in POINTS if k in given}
    if "click" in given:
        content["click"] = _point(given["click"])
    if "names" in given:
        content["names"] = [str(n).strip() for n in _listed(given["names"])]
    return content


def _choices(given: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = {k: float(given[k]) for k in NUMBERS if k in given}
    if "rounds" in given:
        found["rounds"] = int(given["rounds"])
    return found | {k: str(given[k]) for k in WORDS if k in given}


def _listed(value: Any) -> list[Any]:
    return value.split(";") if isinstance(value, str) else list(value)


def _point(value: Any) -> list[float]:
    parts = value.split(",") if isinstance(value, str) else value
    if len(parts) != 3:
        raise ValueError(f"point {value!r}: three numbers in mm with commas between, such as 12.5,-3,40")
    return [float(p) for p in parts]
